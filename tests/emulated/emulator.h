// SPDX-License-Identifier: Apache-2.0
// The image for the chip under qemu-system-arm.
#pragma once

#include <string>

#include "tests/emulated/session_files.h"

namespace emulated {

struct EmulatorRun {
  int exit_code = -1;  // 128 + signal where one ended it
  std::string printed;
  Bytes frames;
};

/// Replays scans.bin and commands.bin of `folder`; frames.bin stays there. Ends after five minutes in any case. Throws
/// when there is no image or no emulator to run.
EmulatorRun run_emulated(const std::filesystem::path& folder);

/// Any image of the chip's build, in `folder`.
EmulatorRun run_image(const std::string& name, const std::filesystem::path& folder);

/// A figure the image printed under this name; throws when it did not.
std::uint32_t printed_figure(const EmulatorRun& run, const std::string& name);

/// Standard output of a shell command and its exit code.
EmulatorRun run_shell(const std::string& command);

}  // namespace emulated
