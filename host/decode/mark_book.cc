// SPDX-License-Identifier: Apache-2.0
#include "host/decode/mark_book.h"

#include <algorithm>
#include <chrono>
#include <string>
#include <utility>

#include <fmt/format.h>

namespace host::decode {
namespace {

namespace proto = steadyrail::proto;

// A hand is slower than what it reacts to; from memory, common practice.
constexpr double kReactionS = 2;

std::optional<ScanInterval> scans_of(const proto::Mark& mark, const ClockFit& clock) {
  const auto time = [](std::uint64_t utc_us) { return model::HostTime{std::chrono::microseconds(utc_us)}; };
  return clock.scans(time(mark.from_utc_us()), time(std::max(mark.from_utc_us(), mark.to_utc_us())));
}

std::string words_of(const proto::HeartbeatSilence& silence) {
  const std::string beats =
      fmt::format("no beat for {:.1f} s after number {}", silence.silent_s(), silence.last_beat());
  switch (silence.end()) {
    case proto::SILENCE_END_NEW_RUN:
      return beats + ", then the sender was started anew";
    case proto::SILENCE_END_STALLED:
      return beats + ", then the next one: the PC stood still and came back by itself";
    case proto::SILENCE_END_NETWORK:
      return beats + ", but the PC had counted on: they were lost on their way";
    default:
      return beats + ", as far as was seen";
  }
}

}  // namespace

void MarkBook::keep(Entry entry) {
  if (entries_.size() >= kMarksMost) {
    ++dropped_;
    return;
  }
  entries_.push_back(std::move(entry));
}

void MarkBook::note(const proto::Mark& mark) {
  Entry entry;
  entry.mark = mark;
  keep(std::move(entry));
}

void MarkBook::silence(const proto::HeartbeatSilence& silence) {
  Entry entry;
  entry.silence = silence.number();
  entry.mark.set_source("heartbeat");
  entry.mark.set_from_utc_us(silence.from_utc_us());
  entry.mark.set_to_utc_us(silence.to_utc_us());
  entry.mark.set_words(words_of(silence));
  entry.mark.set_lock_up(silence.end() == proto::SILENCE_END_LASTS || silence.end() == proto::SILENCE_END_NEW_RUN);
  const auto earlier =
      std::ranges::find_if(entries_, [&](const Entry& one) { return one.silence == silence.number(); });
  if (silence.number() == 0 || earlier == entries_.end()) return keep(std::move(entry));
  entry.scans = earlier->scans;  // of a stretch that is over
  *earlier = std::move(entry);
}

void MarkBook::button(std::uint64_t scan) {
  Entry entry;
  entry.mark.set_source("button");
  entry.mark.set_lock_up(true);
  entry.by_scan = true;
  entry.scans = ScanInterval{static_cast<double>(scan), static_cast<double>(scan)};
  keep(std::move(entry));
}

void MarkBook::stretch_ended(const ClockFit& clock) {
  for (; open_ < entries_.size(); ++open_) {
    if (!entries_[open_].by_scan) entries_[open_].scans = scans_of(entries_[open_].mark, clock);
  }
}

std::vector<proto::SessionMark> MarkBook::placed(const ClockFit& clock, double scan_rate_hz) const {
  std::vector<proto::SessionMark> out;
  for (std::size_t i = 0; i < entries_.size(); ++i) {
    const Entry& entry = entries_[i];
    const auto scans = i < open_ || entry.by_scan ? entry.scans : scans_of(entry.mark, clock);
    proto::SessionMark& mark = out.emplace_back();
    mark.set_source(entry.mark.source());
    mark.set_words(entry.mark.words());
    mark.set_lock_up(entry.mark.lock_up());
    mark.set_placed(scans.has_value());
    if (!scans) continue;
    mark.set_from_s(scans->from_scan / scan_rate_hz - (entry.by_scan ? kReactionS : 0));
    mark.set_to_s(scans->to_scan / scan_rate_hz);
  }
  std::ranges::stable_sort(out, {}, [](const proto::SessionMark& mark) { return mark.from_s(); });
  return out;
}

}  // namespace host::decode
