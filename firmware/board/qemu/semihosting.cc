// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/qemu/semihosting.h"

#include <array>
#include <cstring>

namespace firmware::qemu {
namespace {

enum Operation : std::uint32_t { kOpen = 0x01, kWrite0 = 0x04, kWrite = 0x05, kRead = 0x06, kExit = 0x18 };
constexpr std::uint32_t kApplicationExit = 0x20026;
constexpr std::uint32_t kRunTimeError = 0x20023;

std::int32_t call(Operation operation, const void* block) {
  register std::uint32_t r0 asm("r0") = operation;
  register const void* r1 asm("r1") = block;
  asm volatile("bkpt 0xAB" : "+r"(r0) : "r"(r1) : "memory");
  return static_cast<std::int32_t>(r0);
}

std::uint32_t word(const void* pointer) {
  return static_cast<std::uint32_t>(reinterpret_cast<std::uintptr_t>(pointer));
}

}  // namespace

HostFile::HostFile(const char* path, OpenMode mode) {
  const std::array<std::uint32_t, 3> block{word(path), static_cast<std::uint32_t>(mode),
                                           static_cast<std::uint32_t>(std::strlen(path))};
  handle_ = call(kOpen, block.data());
}

std::size_t HostFile::read(std::span<std::byte> into) {
  const std::array<std::uint32_t, 3> block{static_cast<std::uint32_t>(handle_), word(into.data()),
                                           static_cast<std::uint32_t>(into.size())};
  const std::int32_t not_read = call(kRead, block.data());
  return not_read < 0 ? 0 : into.size() - static_cast<std::size_t>(not_read);
}

bool HostFile::write(std::span<const std::byte> bytes) {
  const std::array<std::uint32_t, 3> block{static_cast<std::uint32_t>(handle_), word(bytes.data()),
                                           static_cast<std::uint32_t>(bytes.size())};
  return call(kWrite, block.data()) == 0;
}

void print(const char* text) {
  call(kWrite0, text);
}

void exit_emulator(bool success) {
  call(kExit, reinterpret_cast<const void*>(static_cast<std::uintptr_t>(success ? kApplicationExit : kRunTimeError)));
  for (;;) {
  }
}

}  // namespace firmware::qemu
