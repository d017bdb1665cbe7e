// SPDX-License-Identifier: Apache-2.0
// The port goes in mid-session: unplugged, back under its own or another name, through the library's path.
#include <atomic>
#include <memory>
#include <thread>

#include "tests/simulation/pseudo_terminal.h"
#include "tests/simulation/scripted_jig.h"
#include "tests/unit/host/link/fake_serial_fixture.h"
#include "tests/unit/host/link/session_fixture.h"

namespace host::link {
namespace {

using namespace std::chrono_literals;
using namespace steadyrail::proto;
using testing_jig::PseudoTerminal;
using testing_jig::ScriptedJig;

class ReconnectTest : public SessionTest {
 protected:
  ReconnectTest() {
    options_.duration.reset();
    options_.times.reconnect_for = 10s;
    first_ = std::make_unique<PseudoTerminal>();
    jig_ = std::make_unique<ScriptedJig>(first_->master(), testing_jig::Script{});
  }
  ~ReconnectTest() override {
    if (jig_) jig_->end();
    if (other_) other_->end();
  }

  /// From the session's start on: pulls the plug after a while; `back` then gives the jig its new place.
  void unplug_after_start(const std::function<void()>& back) {
    happened_.on_start = [this, back] {
      if (happened_.starts != 1) return;
      puller_ = std::thread([this, back] {
        std::this_thread::sleep_for(100ms);
        jig_->end();
        resumed_scan_ = jig_->next_scan() + 16 * 1024;  // it measured on while nobody listened
        last_sequence_ = jig_->sequence() + 20;
        machine_.unplug("ttyJIG0");
        first_->unplug();
        back();
      });
    };
    happened_.on_back = [this] {
      stopper_ = std::thread([this] {
        std::this_thread::sleep_for(100ms);
        session_->request_stop();
      });
    };
  }
  void join() {
    if (puller_.joinable()) puller_.join();
    if (stopper_.joinable()) stopper_.join();
  }
  /// The same jig, still powered: boot counter as before.
  void revive(const std::string& jig_id = "J-01") {
    second_ = std::make_unique<PseudoTerminal>();
    jig_ = std::make_unique<ScriptedJig>(
        second_->master(),
        testing_jig::Script{.jig_id = jig_id, .first_scan = resumed_scan_, .last_sequence = last_sequence_});
  }

  FakePorts machine_;
  std::unique_ptr<PseudoTerminal> first_, second_, third_;
  std::unique_ptr<ScriptedJig> jig_, other_;
  std::uint64_t resumed_scan_ = 0;
  std::uint32_t last_sequence_ = 0;
  std::thread puller_, stopper_;
};

TEST_F(ReconnectTest, TheSameJigIsFoundUnderAnotherName) {
  machine_.plug("ttyJIG0", first_->path(), {.serial = "A1"});
  unplug_after_start([this] {
    revive();
    machine_.plug("ttyJIG5", second_->path(), {.serial = "A1"});
  });
  const auto report = run("/dev/ttyJIG0");
  join();
  ASSERT_TRUE(report.has_value()) << report.error().message;
  EXPECT_EQ(report->end, SessionEnd::kFinished);
  EXPECT_EQ(report->reconnections, 1u);
  EXPECT_EQ(report->port, "/dev/ttyJIG5");
  EXPECT_EQ(happened_.gone, std::vector<std::string>{"/dev/ttyJIG0"});
  EXPECT_EQ(happened_.back, std::vector<std::string>{"/dev/ttyJIG5"});
  const auto result = expect_review_agrees();
  EXPECT_EQ(told_.count("note port { state: PORT_STATE_GONE name: \"/dev/ttyJIG0\""), 1u);
  EXPECT_EQ(told_.count("note port { state: PORT_STATE_OPENED name: \"/dev/ttyJIG5\""), 1u);
  ASSERT_EQ(told_.gaps().size(), 1u);
  EXPECT_EQ(told_.gaps()[0].cause, LOSS_CAUSE_PORT_GONE);
  EXPECT_EQ(told_.gaps()[0].to_scan, resumed_scan_);
  EXPECT_EQ(result.coverage().scans_expected(), jig_->next_scan());
}

TEST_F(ReconnectTest, TheSameJigComesBackUnderItsOwnName) {
  machine_.plug("ttyJIG0", first_->path(), {.serial = "A1"});
  unplug_after_start([this] {
    std::this_thread::sleep_for(100ms);
    revive();
    machine_.plug("ttyJIG0", second_->path(), {.serial = "A1"});
  });
  const auto report = run("/dev/ttyJIG0");
  join();
  ASSERT_TRUE(report.has_value());
  EXPECT_EQ(report->reconnections, 1u);
  expect_review_agrees();
}

TEST_F(ReconnectTest, AnotherJigInItsPlaceIsPassedOver) {
  third_ = std::make_unique<PseudoTerminal>();
  other_ = std::make_unique<ScriptedJig>(third_->master(), testing_jig::Script{.jig_id = "J-02"});
  machine_.plug("ttyJIG0", first_->path(), {.serial = "A1"});
  unplug_after_start([this] {
    machine_.plug("ttyJIG0", third_->path(), {.serial = "B2"});
    std::this_thread::sleep_for(50ms);
    revive();
    machine_.plug("ttyJIG1", second_->path(), {.serial = "C3"});
  });
  const auto report = run("/dev/ttyJIG0");
  join();
  ASSERT_TRUE(report.has_value());
  EXPECT_EQ(report->port, "/dev/ttyJIG1");
  EXPECT_EQ(told_.count("hello J-02"), 0u) << "bytes of another jig are none of this recording";
  expect_review_agrees();
}

TEST_F(ReconnectTest, AJigThatNeverComesBackEndsTheSessionAsPortGone) {
  machine_.plug("ttyJIG0", first_->path(), {.serial = "A1"});
  options_.times.reconnect_for = 200ms;
  unplug_after_start([] {});
  const auto report = run("/dev/ttyJIG0");
  join();
  ASSERT_TRUE(report.has_value());
  EXPECT_EQ(report->end, SessionEnd::kPortGone);
  EXPECT_EQ(expect_review_agrees().session().ended(), "port-gone");
}

TEST_F(ReconnectTest, AStopWhileLookingForTheJigEndsAtOnce) {
  machine_.plug("ttyJIG0", first_->path(), {.serial = "A1"});
  std::stop_source stop;
  options_.stop = stop.get_token();
  options_.times.reconnect_for = 60s;
  unplug_after_start([&stop] {
    std::this_thread::sleep_for(100ms);
    stop.request_stop();
  });
  const auto began = std::chrono::steady_clock::now();
  const auto report = run("/dev/ttyJIG0");
  join();
  EXPECT_LT(std::chrono::steady_clock::now() - began, 10s);
  ASSERT_TRUE(report.has_value());
  EXPECT_EQ(report->end, SessionEnd::kInterrupted);
  expect_review_agrees();
}

}  // namespace
}  // namespace host::link
