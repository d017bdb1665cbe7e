// SPDX-License-Identifier: Apache-2.0
// What the jig must read at each step is the rule of the order itself (0.5 V dead, 0.1 V not fed back: common practice,
// no source); places by the nominal voltages of the rails.
#include "host/app/hook_up.h"

#include <unistd.h>

#include <deque>
#include <map>
#include <sstream>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "host/app/judging.h"

namespace host::app {
namespace {

namespace proto = steadyrail::proto;
using testing::HasSubstr;

/// Volts by channel name; what is not named reads `others` of its nominal.
struct Bench {
  double others = 0;
  std::map<std::string, double> volts = {};
};

class HookUpTest : public testing::Test {
 protected:
  HookUpTest() : jig_(*load_jig("reference")), terminal_(out_, err_, false) {}

  detect::LevelMeter levels(const Bench& bench) const {
    wire::DecodedWindows windows{};
    for (const model::JigChannel& channel : jig_.channels()) {
      if (channel.per_code == 0) continue;
      const auto named = bench.volts.find(channel.name);
      const double volts =
          named != bench.volts.end() ? named->second : bench.others * model::rail_nominal_v(channel.rail);
      windows.channels[channel.index].mean_8.fill(static_cast<std::int32_t>(channel.code(volts) * 8));
    }
    decode::WindowBatch batch;
    batch.scans_per_window = 32;
    batch.window_count = 32;
    batch.windows = &windows;
    detect::LevelMeter meter;
    meter.windows(batch);
    return meter;
  }

  std::expected<proto::HookUp, std::string> run(std::deque<Bench> benches, const std::string& said) {
    int ends[2];
    EXPECT_EQ(pipe(ends), 0);
    EXPECT_EQ(write(ends[1], said.data(), said.size()), static_cast<ssize_t>(said.size()));
    close(ends[1]);
    HookUp order(jig_, ends[0], terminal_,
                 [&]() -> std::expected<detect::LevelMeter, std::string> {
                   if (benches.empty()) return std::unexpected("the port has gone");
                   const Bench now = benches.front();
                   benches.pop_front();
                   return levels(now);
                 },
                 {});
    auto done = order.run();
    left_.assign(64, '\0');
    left_.resize(static_cast<std::size_t>(std::max<ssize_t>(0, read(ends[0], left_.data(), left_.size()))));
    close(ends[0]);
    return done;
  }

  model::Jig jig_;
  std::ostringstream out_;
  std::ostringstream err_;
  Terminal terminal_;
  std::string left_;  // of the input, after the run
};

const Bench kDead{};
const Bench kOn{.others = 1};

TEST_F(HookUpTest, FourStepsReadAndConfirmed) {
  const auto done = run({kDead, kOn, kDead, kDead}, "\n\n\n\nthis is a mark\n");
  ASSERT_TRUE(done) << done.error();
  ASSERT_EQ(done->steps_size(), 4);
  for (const proto::HookUpStep& step : done->steps()) {
    EXPECT_EQ(step.proof(), proto::HOOK_UP_PROOF_MEASURED) << step.name();
    EXPECT_EQ(step.tries(), 1U);
    EXPECT_TRUE(step.wrong().empty());
  }
  EXPECT_EQ(left_, "this is a mark\n") << "what follows belongs to the session";
  EXPECT_LT(err_.str().find("ground ties first"), err_.str().find("Plugs of the PC"));
}

TEST_F(HookUpTest, ALiveOutputBeforeMatingIsNamedAndAskedForAgain) {
  const auto done = run({{.volts = {{"standby-5v", 5.02}}}, kDead, kOn, kDead, kDead}, "\n\n\n\n\n");
  ASSERT_TRUE(done) << done.error();
  EXPECT_EQ(done->steps(0).tries(), 2U);
  ASSERT_EQ(done->steps(0).wrong_size(), 1);
  EXPECT_THAT(done->steps(0).wrong(0), HasSubstr("standby-5v reads 5.02 V"));
  EXPECT_THAT(err_.str(), HasSubstr("WRONG"));
  EXPECT_THAT(hook_up_words(*done, false), HasSubstr("right at try 2"));
}

TEST_F(HookUpTest, AWrongRailOnAPlugIsCaughtWithoutAPc) {
  const auto done = run({kDead, {.others = 1, .volts = {{"graphics-1", 3.31}}}, kOn, kDead, kDead}, "\n\n\n\n\n");
  ASSERT_TRUE(done) << done.error();
  EXPECT_THAT(done->steps(1).wrong(0), HasSubstr("graphics-1 reads 3.31 V where +12V belongs (it looks like +3.3V)"));
}

TEST_F(HookUpTest, StandbyAloneIsInOrderAndSaidToBeAllThatWasSeen) {
  const auto done = run({kDead, {.volts = {{"standby-5v", 5.0}}}, kDead, kDead}, "\n\n\n\n");
  ASSERT_TRUE(done) << done.error();
  EXPECT_THAT(done->steps(1).readings(0), HasSubstr("rails in their places: 1,"));
  EXPECT_THAT(done->steps(1).readings(0), HasSubstr("what is dead was not looked at"));
}

TEST_F(HookUpTest, MainsThatIsNotOnIsAskedFor) {
  const auto done = run({kDead, kDead, kOn, kDead, kDead}, "\n\n\n\n\n");
  ASSERT_TRUE(done) << done.error();
  EXPECT_THAT(done->steps(1).wrong(0), HasSubstr("is the mains on?"));
}

TEST_F(HookUpTest, APcThatFeedsBackIsNamed) {
  const auto done = run({kDead, kOn, kDead, {.volts = {{"main-5v", 0.32}}}, kDead}, "\n\n\n\n\n");
  ASSERT_TRUE(done) << done.error();
  EXPECT_THAT(done->steps(3).wrong(0), HasSubstr("main-5v reads 0.32 V, it must be below 0.1 V"));
}

TEST_F(HookUpTest, NeitherEndNorSilenceNorALostJigLetsARecordingBegin) {
  EXPECT_FALSE(run({kDead, kOn}, "\nend\n"));
  EXPECT_FALSE(run({kDead, kOn, kDead}, "\n\n\n"));  // the input ends
  const auto lost = run({kDead}, "\n\n\n\n");
  ASSERT_FALSE(lost);
  EXPECT_EQ(lost.error(), "the port has gone");
  const auto stubborn = run(std::deque<Bench>(100, kOn), std::string(100, '\n'));
  ASSERT_FALSE(stubborn);
  EXPECT_THAT(stubborn.error(), HasSubstr("wrong 20 times"));
}

}  // namespace
}  // namespace host::app
