// SPDX-License-Identifier: Apache-2.0
// A self-test under way: joins the source as planned and gathers what the jig then reads. No clock of its own.
#pragma once

#include <array>
#include <mutex>
#include <optional>
#include <string>

#include "host/decode/sink.h"
#include "host/link/session.h"
#include "host/selftest/evaluate.h"

namespace host::app {

class SelfTestRun : public decode::Sink, public link::SessionEvents {
 public:
  SelfTestRun(const steadyrail::proto::TestSetup& setup, const model::Jig& jig);

  /// What to do now: a command, the end, or nothing while scans are still gathered. Any thread.
  struct Next {
    std::optional<steadyrail::proto::HostToJig> command;
    bool over = false;
  };
  Next next();
  /// Whether the present stimulus has not gathered its scans yet.
  bool gathering() const;

  /// Empty: the plan was gone through.
  std::string failure() const;
  selftest::Observations observations() const { return seen_; }  // once it is over, as the next two
  const steadyrail::proto::Hello& hello_said() const { return hello_; }
  std::uint32_t boot() const { return boot_; }
  std::size_t planned() const { return plan_.size(); }
  std::size_t done() const;

  // link::SessionEvents, in the session's thread
  void hello(const steadyrail::proto::Hello& hello, std::uint32_t boot) override;
  void started(std::uint64_t scan) override;
  void command_answered(const steadyrail::proto::HostToJig& command,
                        const steadyrail::proto::Acknowledgement& answer) override;
  void status(const steadyrail::proto::Status& status) override;

  // decode::Sink
  void windows(const decode::WindowBatch& batch) override;
  void event(const steadyrail::proto::Event& event) override;

 private:
  struct Gathered {
    double scans = 0;
    std::array<double, wire::kChannelCount> sum{};
    std::array<double, wire::kChannelCount> squares{};  // about `center`
    std::array<double, wire::kChannelCount> center{};
    std::uint32_t clipped_mask = 0;
  };
  void begin_gathering(std::uint64_t scan);
  void keep();
  bool too_high() const;
  void fail(const std::string& why);
  bool complete() const { return gathered_.scans >= scans_needed_; }

  const steadyrail::proto::TestSetup& setup_;
  const model::Jig& jig_;
  mutable std::mutex mutex_;
  std::vector<selftest::Stimulus> plan_;
  std::size_t at_ = 0;  // in the plan
  double scans_needed_;
  std::optional<std::uint64_t> from_scan_;  // gathering from here; empty: waiting for an answer
  Gathered gathered_;
  selftest::Observations seen_;
  std::array<bool, wire::kChannelCount> moved_{};
  steadyrail::proto::Hello hello_;
  std::uint32_t boot_ = 0;
  bool started_ = false;
  bool ending_ = false;
  bool over_ = false;
  std::string failure_;
};

}  // namespace host::app
