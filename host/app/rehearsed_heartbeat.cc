// SPDX-License-Identifier: Apache-2.0
#include "host/app/rehearsed_heartbeat.h"

#include <chrono>
#include <cmath>

namespace host::app {
namespace {

constexpr const char* kToken = "simulated";
constexpr std::chrono::milliseconds kPeriod{500};  // every look
constexpr double kLookEveryS = 0.05;
constexpr double kOnTheWayS = 0.0008;  // of a wired network

}  // namespace

RehearsedHeartbeat::RehearsedHeartbeat(std::uint64_t started_utc_us, double scan_rate_hz)
    : started_utc_us_(started_utc_us), scan_rate_hz_(scan_rate_hz), book_(kToken) {
  book_.listen_at("virtual");
}

void RehearsedHeartbeat::pc(std::uint64_t scan, bool works) {
  const std::lock_guard lock(mutex_);
  looks_.push_back({scan, works});
}

heartbeat::Moment RehearsedHeartbeat::at(std::uint64_t scan) const {
  const double seconds = static_cast<double>(scan) / scan_rate_hz_;
  const auto utc_us = static_cast<std::int64_t>(started_utc_us_) + std::llround(seconds * 1e6);
  return {seconds, model::HostTime{std::chrono::microseconds(utc_us)}};
}

void RehearsedHeartbeat::take(const Look& look) {
  if (look.works) {
    if (!worked_) {
      ++run_;
      number_ = 0;
    }
    ++number_;
    const auto on_the_way = static_cast<std::uint64_t>(kOnTheWayS * scan_rate_hz_);
    book_.take(heartbeat::to_text({.token = kToken,
                                   .run = std::to_string(run_),
                                   .number = number_,
                                   .sender_ms = static_cast<std::uint64_t>(1e3 * at(look.scan).steady_s),
                                   .period = kPeriod,
                                   .farewell = false}),
               at(look.scan + on_the_way), false);
  }
  worked_ = look.works;
}

std::vector<steadyrail::proto::HostNote> RehearsedHeartbeat::notes_due(std::optional<std::uint64_t> scan) {
  std::deque<Look> due;
  {
    const std::lock_guard lock(mutex_);
    while (!looks_.empty() && (!scan || looks_.front().scan < *scan)) {
      due.push_back(looks_.front());
      looks_.pop_front();
    }
  }
  const auto every = static_cast<std::uint64_t>(kLookEveryS * scan_rate_hz_);
  for (const Look& look : due) {
    for (; looked_to_ < look.scan; looked_to_ += every) book_.look(at(looked_to_));
    take(look);
  }
  if (scan) {
    for (; looked_to_ < *scan; looked_to_ += every) book_.look(at(looked_to_));
  } else {
    book_.finish(at(looked_to_));
  }
  return book_.take_notes();
}

}  // namespace host::app
