// SPDX-License-Identifier: Apache-2.0
#include "tests/emulated/emulator.h"

#include <sys/wait.h>

#include <array>
#include <cstdio>
#include <memory>
#include <stdexcept>
#include <string_view>

#include <fmt/core.h>

namespace emulated {
namespace {

constexpr std::string_view kEmulator = STEADYRAIL_QEMU;

}  // namespace

EmulatorRun run_shell(const std::string& command) {
  EmulatorRun run;
  std::FILE* pipe = popen(command.c_str(), "r");
  if (pipe == nullptr) throw std::runtime_error("no shell");
  std::array<char, 4096> buffer;
  while (const std::size_t count = std::fread(buffer.data(), 1, buffer.size(), pipe)) {
    run.printed.append(buffer.data(), count);
  }
  const int status = pclose(pipe);
  run.exit_code = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  return run;
}

std::uint32_t printed_figure(const EmulatorRun& run, const std::string& name) {
  const std::size_t at = run.printed.find(name + ": ");
  if (at == std::string::npos) throw std::runtime_error("the image did not print: " + name);
  return static_cast<std::uint32_t>(std::stoul(run.printed.substr(at + name.size() + 2)));
}

EmulatorRun run_image(const std::string& name, const std::filesystem::path& folder) {
  const std::string image = STEADYRAIL_CHIP_DIR "/" + name;
  if (!std::filesystem::exists(image)) throw std::runtime_error("there is no " + image);
  if (kEmulator.empty()) throw std::runtime_error("qemu-system-arm is not installed");
  // One instruction a nanosecond of the machine's time: every run is the same run.
  return run_shell(
      fmt::format("cd '{}' && timeout 300 '{}' -M netduinoplus2 -nographic -monitor none -serial null "
                  "-semihosting-config enable=on,target=native -icount shift=0,sleep=off -kernel '{}' </dev/null 2>&1",
                  folder.string(), kEmulator, image));
}

EmulatorRun run_emulated(const std::filesystem::path& folder) {
  EmulatorRun run = run_image("steadyrail-qemu.elf", folder);
  run.frames = read_file(folder / "frames.bin");
  return run;
}

}  // namespace emulated
