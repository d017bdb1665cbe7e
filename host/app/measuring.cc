// SPDX-License-Identifier: Apache-2.0
#include "host/app/measuring.h"

#include <chrono>
#include <cmath>

namespace host::app {
namespace {

constexpr double kScanRateHz = 32000;
constexpr double kMeanStep = 8;  // a window's mean is in 1/8 code
constexpr std::chrono::seconds kPatience{30};

}  // namespace

Measuring::Measuring(link::SessionOptions options) : options_(std::move(options)), decoder_(*this) {
  steadyrail::proto::RecordingHeader header;
  session_ = std::make_unique<link::Session>(options_, header, clock_, nullptr, decoder_, *this);
}

Measuring::~Measuring() {
  session_->request_stop();
  if (thread_.joinable()) thread_.join();
}

std::expected<std::unique_ptr<Measuring>, link::LinkError> Measuring::start(link::SessionOptions options) {
  std::unique_ptr<Measuring> made(new Measuring(std::move(options)));
  made->thread_ = std::jthread([raw = made.get()] { raw->run(); });
  std::unique_lock lock(made->mutex_);
  made->changed_.wait(lock, [&] { return made->started_ || made->over_; });  // the session's time-outs bound it
  if (made->started_) return made;
  const link::LinkError error = made->error_.value_or(link::LinkError{link::LinkFault::kIo, "the jig did not start"});
  lock.unlock();
  return std::unexpected(error);
}

void Measuring::run() {
  const auto report = session_->run();
  const std::lock_guard lock(mutex_);
  if (!report) error_ = report.error();
  over_ = true;
  changed_.notify_all();
}

void Measuring::started(std::uint64_t) {
  const std::lock_guard lock(mutex_);
  started_ = true;
  changed_.notify_all();
}

void Measuring::windows(const decode::WindowBatch& batch) {
  const std::lock_guard lock(mutex_);
  for (std::uint32_t window = 0; window < batch.window_count; ++window) {
    const std::uint64_t first = batch.first_scan + std::uint64_t{window} * batch.scans_per_window;
    if (first < from_ || first >= to_) continue;
    for (std::size_t channel = 0; channel < sums_.size(); ++channel) {
      Sum& sum = sums_[channel];
      const double mean = batch.windows->channels[channel].mean_8[window] / kMeanStep;
      sum.scans += batch.scans_per_window;
      sum.code += mean * batch.scans_per_window;
      sum.windows += 1;
      const double apart = mean - sum.mean;
      sum.mean += apart / sum.windows;
      sum.squares += apart * (mean - sum.mean);
      sum.scans_per_window = batch.scans_per_window;
    }
  }
  end_ = batch.end_scan();
  changed_.notify_all();
}

std::expected<void, std::string> Measuring::wait_for(std::unique_lock<std::mutex>& lock, std::uint64_t end) {
  // Progress, not the clock on the wall, is what is waited for: a slow line is no dead one.
  for (std::uint64_t seen = end_; end_ < end; seen = end_) {
    const bool moved = changed_.wait_for(lock, kPatience, [&] { return over_ || end_ != seen; });
    if (options_.stop.stop_requested()) return std::unexpected("stopped");
    if (over_) return std::unexpected(error_ ? error_->message : options_.port + ": the port has gone");
    if (!moved) return std::unexpected(options_.port + ": nothing comes from the jig");
  }
  return {};
}

std::expected<CodeMeans, std::string> Measuring::mean(double settle_s, double seconds) {
  std::unique_lock lock(mutex_);
  // A jig counts its scans from its own start: only the first window says where they stand.
  if (const auto waited = wait_for(lock, 1); !waited) return std::unexpected(waited.error());
  sums_ = {};
  from_ = end_ + static_cast<std::uint64_t>(settle_s * kScanRateHz);
  to_ = from_ + static_cast<std::uint64_t>(seconds * kScanRateHz);
  if (const auto waited = wait_for(lock, to_); !waited) return std::unexpected(waited.error());
  CodeMeans out{};
  for (std::size_t channel = 0; channel < out.size(); ++channel) {
    const Sum& sum = sums_[channel];
    if (sum.scans == 0)
      return std::unexpected(options_.port + ": the windows of this stretch were lost; take the point again");
    out[channel].code = sum.code / sum.scans;
    out[channel].scans = sum.scans;
    if (sum.windows > 1) out[channel].sd = std::sqrt(sum.squares / (sum.windows - 1) * sum.scans_per_window);
  }
  return out;
}

}  // namespace host::app
