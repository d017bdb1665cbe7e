// SPDX-License-Identifier: Apache-2.0
// A processor fault, for real: the start-up objects of the chip's image, run into one under emulation.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/emulated/emulator.h"

namespace emulated {
namespace {

std::uint32_t hex_after(const std::string& text, const std::string& name) {
  const std::size_t at = text.find(name);
  EXPECT_NE(at, std::string::npos) << text;
  return at == std::string::npos
             ? 0
             : static_cast<std::uint32_t>(std::stoul(text.substr(at + name.size(), 8), nullptr, 16));
}

/// Cause bits of the ARMv7-M Architecture Reference Manual, B3.2.15: precise data bus error, address valid.
TEST(FaultTest, IsKeptOverTheResetAndToldOnce) {
  const EmulatorRun run = run_image("steadyrail-fault.elf", fresh_folder("fault"));
  EXPECT_EQ(run.exit_code, 0) << run.printed;
  EXPECT_THAT(run.printed, testing::HasSubstr("first boot: no fault kept"));
  const std::uint32_t instruction = hex_after(run.printed, "instruction ");
  const std::uint32_t function = hex_after(run.printed, "in function ");
  EXPECT_GE(instruction, function);
  EXPECT_LT(instruction, function + 16) << "not in the function that reads where nothing is";
  EXPECT_EQ(hex_after(run.printed, "cause "), 1U << 15 | 1U << 9);
  EXPECT_EQ(hex_after(run.printed, "address "), 0x60000000U);
  EXPECT_THAT(run.printed, testing::HasSubstr("told once"));
}

}  // namespace
}  // namespace emulated
