// SPDX-License-Identifier: Apache-2.0
// Files of the host that runs the emulator, by ARM semihosting (Arm IHI 0100: BKPT 0xAB, operation in r0, block in r1).
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

namespace firmware::qemu {

enum class OpenMode : std::uint32_t { kRead = 1, kWrite = 5 };  // "rb", "wb"

class HostFile {
 public:
  HostFile(const char* path, OpenMode mode);
  bool is_open() const { return handle_ >= 0; }
  /// Bytes read; fewer than asked for at the end of the file.
  std::size_t read(std::span<std::byte> into);
  /// True when all of `bytes` was written.
  bool write(std::span<const std::byte> bytes);

 private:
  std::int32_t handle_;
};

void print(const char* text);

/// Ends the emulator: 0 as success, anything else as failure.
[[noreturn]] void exit_emulator(bool success);

}  // namespace firmware::qemu
