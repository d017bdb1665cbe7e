// SPDX-License-Identifier: Apache-2.0
#include "tests/emulated/native_run.h"

#include <fstream>
#include <memory>
#include <stdexcept>

#include "firmware/board/qemu/replay.h"
#include "firmware/board/replay_store.h"

namespace emulated {
namespace {

class NativeFile : public firmware::ReplayFile {
 public:
  NativeFile() = default;
  explicit NativeFile(const std::filesystem::path& path) : file_(path, std::ios::binary) {
    if (!file_) throw std::runtime_error(path.string() + " cannot be opened");
  }
  std::size_t read(std::span<std::byte> into) override {
    file_.read(reinterpret_cast<char*>(into.data()), static_cast<std::streamsize>(into.size()));
    return static_cast<std::size_t>(file_.gcount());
  }
  bool write(std::span<const std::byte> bytes) override {
    written.insert(written.end(), bytes.begin(), bytes.end());
    return true;
  }

  Bytes written;

 private:
  std::ifstream file_;
};

}  // namespace

Bytes replay_natively(const std::filesystem::path& folder) {
  NativeFile scans(folder / "scans.bin");
  NativeFile commands(folder / "commands.bin");
  NativeFile frames;
  firmware::ReplayStore store;
  const auto mode = is_bench(folder) ? firmware::Mode::kBench : firmware::Mode::kObserve;
  const auto replay = std::make_unique<firmware::Replay>(scans, commands, frames, store, mode);
  if (replay->run() != firmware::ReplayEnd::kComplete) throw std::runtime_error("the replay did not complete");
  return frames.written;
}

}  // namespace emulated
