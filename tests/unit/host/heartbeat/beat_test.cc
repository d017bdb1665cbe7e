// SPDX-License-Identifier: Apache-2.0
#include "host/heartbeat/beat.h"

#include <gtest/gtest.h>

namespace host::heartbeat {
namespace {

// The line printed in proto/heartbeat.md.
constexpr const char* kPrinted = "steadyrail-heartbeat 1 bench-b2-k7 4w8z 37 36004 1000";

TEST(BeatTest, ReadsTheLineOfTheDocument) {
  const auto beat = parse_beat(kPrinted, "bench-b2-k7");
  ASSERT_TRUE(beat);
  EXPECT_EQ(beat->run, "4w8z");
  EXPECT_EQ(beat->number, 37U);
  EXPECT_EQ(beat->sender_ms, 36004U);
  EXPECT_EQ(beat->period, std::chrono::milliseconds(1000));
  EXPECT_FALSE(beat->farewell);
  EXPECT_EQ(to_text(*beat), std::string(kPrinted) + "\n");
}

TEST(BeatTest, WritesWhatItReads) {
  const Beat said{"tok-1", "r", 9, 8, std::chrono::milliseconds(250), true};
  const auto read = parse_beat(to_text(said), "tok-1");
  ASSERT_TRUE(read);
  EXPECT_TRUE(read->farewell);
  EXPECT_EQ(to_text(*read), to_text(said));
}

TEST(BeatTest, AnotherTokenIsForeignNotMalformed) {
  for (const char* token : {"bench-b2-k8", "bench-b2-k", "bench-b2-k77"}) {
    const auto beat = parse_beat(kPrinted, token);
    ASSERT_FALSE(beat);
    EXPECT_EQ(beat.error(), BeatFault::kForeign) << token;
  }
}

TEST(BeatTest, RefusesEverythingElse) {
  const std::string long_run(33, 'a');
  const std::string flood(100'000, ' ');
  const std::string binary("\0\xff\x6a", 3);
  for (const std::string& text :
       {std::string(), std::string("\n"), std::string("hello"), flood, binary,
        std::string("steadyrail-heartbeat 2 bench-b2-k7 4w8z 37 36004 1000"),  // another version
        std::string("steadyrail-heartbeat 1 bench-b2-k7 4w8z 0 36004 1000"),   // numbers begin at 1
        std::string("steadyrail-heartbeat 1 bench-b2-k7 4w8z -1 36004 1000"),
        std::string("steadyrail-heartbeat 1 bench-b2-k7 4w8z 18446744073709551615 1 1000"),
        std::string("steadyrail-heartbeat 1 bench-b2-k7 4w8z 37 36004 99"),
        std::string("steadyrail-heartbeat 1 bench-b2-k7 4w8z 37 36004 60001"),
        std::string("steadyrail-heartbeat 1 bench-b2-k7 4w8z 37 36004"),
        std::string("steadyrail-heartbeat 1 bench-b2-k7 4w8z 37 36004 1000 later"),
        std::string("steadyrail-heartbeat 1 bench-b2-k7 4w8z 37 36004 1000 bye bye"),
        std::string("steadyrail-heartbeat 1 bench-b2-k7  37 36004 1000"),
        std::string("steadyrail-heartbeat 1 k7 4w8z 37 36004 1000"),  // token too short
        "steadyrail-heartbeat 1 bench-b2-k7 " + long_run + " 37 36004 1000",
        std::string(kPrinted) + std::string(200, '\n')}) {
    const auto beat = parse_beat(text, "bench-b2-k7");
    ASSERT_FALSE(beat) << text.substr(0, 80);
    EXPECT_EQ(beat.error(), BeatFault::kMalformed) << text.substr(0, 80);
  }
}

TEST(BeatTest, EachWordIsNewAndATokenItself) {
  const std::string one = random_word();
  EXPECT_TRUE(is_token(one)) << one;
  EXPECT_NE(one, random_word());
}

}  // namespace
}  // namespace host::heartbeat
