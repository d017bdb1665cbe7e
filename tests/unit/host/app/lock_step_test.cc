// SPDX-License-Identifier: Apache-2.0
#include "host/app/lock_step.h"

#include <thread>

#include <gtest/gtest.h>

namespace host::app {
namespace {

TEST(LockStepTest, LetsTheSupplyGoOnlyOnceTheJigRuns) {
  LockStep step(32'000);
  std::jthread session([&] { step.started(); });
  EXPECT_TRUE(step.wait_for_start());
}

TEST(LockStepTest, ReleasesTheSupplyWhenTheSessionNeverBegan) {
  LockStep step(32'000);
  std::jthread session([&] { step.session_over(); });
  EXPECT_FALSE(step.wait_for_start());
  EXPECT_TRUE(step.stop_serving());
  EXPECT_FALSE(step.before_scan(0).has_value());
}

TEST(LockStepTest, CountsTheCommandsAndEndsAfterAStop) {
  LockStep step(32'000);
  step.started();
  steadyrail::proto::HostToJig command;
  command.mutable_start();
  step.command_written(4, command);
  EXPECT_EQ(step.before_scan(0).value(), 4U);
  EXPECT_FALSE(step.stop_serving());
  command.mutable_stop();  // Ctrl-C: the session stops by itself
  step.command_written(5, command);
  EXPECT_EQ(step.before_scan(16'000).value(), 5U);
  EXPECT_TRUE(step.stop_serving());
}

}  // namespace
}  // namespace host::app
