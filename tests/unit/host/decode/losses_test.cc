// SPDX-License-Identifier: Apache-2.0
#include "host/decode/losses.h"

#include <gtest/gtest.h>

namespace host::decode {
namespace {

using Words = std::vector<std::string>;

TEST(JigLossesTest, SaysNothingWhereNothingWasLost) {
  EXPECT_EQ(JigLosses().remarks(), Words{});
}

TEST(JigLossesTest, AddsUpOverRestarts) {
  JigLosses losses;
  steadyrail::proto::Status status;
  status.set_captures_late(3);
  losses.take(status);
  status.set_captures_late(5);  // counts go up within a boot
  losses.take(status);
  losses.restarted();
  status.set_captures_late(2);
  status.set_events_dropped(1);
  status.set_captures_cut(1);
  losses.take(status);
  EXPECT_EQ(losses.remarks(),
            (Words{"1 event was dropped in the jig because the line could not carry more",
                   "7 captures were not taken because every slot was in use",
                   "1 capture ends sooner than asked for: noise and load steps filled the jig's memory"}));
}

}  // namespace
}  // namespace host::decode
