// SPDX-License-Identifier: Apache-2.0
// The emulated jig: replays the files scans.bin and commands.bin of the emulator's folder into frames.bin; in bench
// where there is a file of that name.
#include "firmware/board/qemu/instruction_meter.h"
#include "firmware/board/qemu/replay.h"
#include "firmware/board/qemu/semihosting.h"
#include "firmware/board/replay_store.h"
#include "firmware/board/stm32f405/startup.h"

namespace firmware {
namespace {

class EmulatorFile : public ReplayFile {
 public:
  EmulatorFile(const char* path, qemu::OpenMode mode) : file_(path, mode) {}
  bool is_open() const { return file_.is_open(); }
  std::size_t read(std::span<std::byte> into) override { return file_.read(into); }
  bool write(std::span<const std::byte> bytes) override { return file_.write(bytes); }

 private:
  qemu::HostFile file_;
};

const char* words(ReplayEnd end) {
  switch (end) {
    case ReplayEnd::kComplete:
      return "replay complete\n";
    case ReplayEnd::kBadScans:
      return "scans.bin is damaged\n";
    case ReplayEnd::kBadCommands:
      return "commands.bin ends too early\n";
    case ReplayEnd::kNotWritten:
      return "frames.bin cannot be written\n";
  }
  return "";
}

}  // namespace

namespace chip {
void board_halt() {
  qemu::print("halted by a fault\n");
  qemu::exit_emulator(false);
}

void board_main() {
  using qemu::OpenMode;
  static EmulatorFile scans("scans.bin", OpenMode::kRead);
  static EmulatorFile commands("commands.bin", OpenMode::kRead);
  static EmulatorFile frames("frames.bin", OpenMode::kWrite);
  if (!scans.is_open() || !commands.is_open() || !frames.is_open()) {
    qemu::print("scans.bin, commands.bin or frames.bin cannot be opened\n");
    qemu::exit_emulator(false);
  }
  static ReplayStore store;
  static qemu::InstructionMeter meter;
  const Mode mode = EmulatorFile("bench", OpenMode::kRead).is_open() ? Mode::kBench : Mode::kObserve;
  static Replay replay(scans, commands, frames, store, mode, &meter);
  const ReplayEnd end = replay.run();
  meter.print();
  qemu::print(words(end));
  qemu::exit_emulator(end == ReplayEnd::kComplete);
}
}  // namespace chip
}  // namespace firmware
