// SPDX-License-Identifier: Apache-2.0
// A jig that measures while its user sets a source: means of every channel, on demand.
#pragma once

#include <array>
#include <condition_variable>
#include <cstdint>
#include <expected>
#include <memory>
#include <mutex>
#include <optional>
#include <stop_token>
#include <string>
#include <thread>

#include "host/decode/decoder.h"
#include "host/link/session.h"
#include "host/model/jig.h"

namespace host::app {

/// Of the codes of one channel.
struct CodeMean {
  double code = 0;
  double sd = 0;  // of single scans, from the scatter of whole windows
  double scans = 0;
};

using CodeMeans = std::array<CodeMean, wire::kChannelCount>;

class Measuring : public decode::Sink, public link::SessionEvents {
 public:
  /// Starts a run that is not recorded. The error is the session's.
  static std::expected<std::unique_ptr<Measuring>, link::LinkError> start(link::SessionOptions options);
  ~Measuring() override;
  Measuring(const Measuring&) = delete;
  Measuring& operator=(const Measuring&) = delete;

  /// Over `seconds` of device time that begin `settle_s` after what has arrived by now. The error is a sentence: the
  /// port has gone, nothing comes, or a stop was asked for.
  std::expected<CodeMeans, std::string> mean(double settle_s, double seconds);

 private:
  explicit Measuring(link::SessionOptions options);
  void windows(const decode::WindowBatch& batch) override;
  void started(std::uint64_t scan) override;
  void run();
  /// Until scans up to `end` have been seen.
  std::expected<void, std::string> wait_for(std::unique_lock<std::mutex>& lock, std::uint64_t end);

  struct Sum {
    double scans = 0;
    double code = 0;
    double windows = 0;
    double mean = 0;     // of window means
    double squares = 0;  // about it
    double scans_per_window = 0;
  };

  link::SessionOptions options_;
  link::RealClock clock_;
  decode::Decoder decoder_;
  std::unique_ptr<link::Session> session_;
  std::mutex mutex_;
  std::condition_variable changed_;
  std::array<Sum, wire::kChannelCount> sums_{};
  std::uint64_t from_ = 0;
  std::uint64_t to_ = 0;
  std::uint64_t end_ = 0;  // scans seen up to here
  bool started_ = false;
  bool over_ = false;
  std::optional<link::LinkError> error_;
  std::jthread thread_;
};

}  // namespace host::app
