// SPDX-License-Identifier: Apache-2.0
#include "tests/simulation/told.h"

#include <algorithm>

#include "tests/simulation/jig_frames.h"

namespace testing_jig {
namespace {

std::string number(std::uint64_t value) {
  return std::to_string(value);
}

}  // namespace

void Told::header(const steadyrail::proto::RecordingHeader& header) {
  lines_.push_back("header " + number(header.started_utc_us()));
}

void Told::hello(const steadyrail::proto::Hello& hello) {
  lines_.push_back("hello " + hello.jig_id() + " " + number(hello.scan()));
}

void Told::windows(const host::decode::WindowBatch& batch) {
  std::string line = "windows " + number(batch.first_scan) + " " + number(batch.end_scan());
  for (std::size_t channel = 0; channel < wire::kChannelCount; ++channel) {
    const auto& columns = batch.windows->channels[channel];
    for (std::uint32_t w = 0; w < batch.window_count; ++w) {
      const std::uint64_t scan = batch.first_scan + std::uint64_t{w} * batch.scans_per_window - scan_offset;
      if (columns.min[w] != window_min_code(channel, scan) || columns.max[w] != columns.min[w] + 100) ++windows_wrong_;
    }
  }
  if (batch.first_scan < end_scan_) in_order_ = false;
  end_scan_ = batch.end_scan();
  scans_seen_ += batch.end_scan() - batch.first_scan;
  lines_.push_back(line);
}

void Told::capture(const host::decode::CaptureBatch& batch) {
  std::string line = "capture " + number(batch.capture) + " " + number(batch.first_scan) + " " +
                     number(batch.trigger_scan) + " " + number(batch.remaining);
  for (std::size_t k = 0; k < batch.channels.size(); ++k) {
    line += " " + number(batch.channels[k]) + ":" + std::to_string(batch.codes[k][batch.scan_count - 1]);
  }
  lines_.push_back(line);
}

void Told::event(const steadyrail::proto::Event& event) {
  lines_.push_back("event " + event.ShortDebugString());
}

void Told::status(const steadyrail::proto::Status& status) {
  lines_.push_back("status " + number(status.scan()) + (status.running() ? " running" : " idle"));
}

void Told::log(const steadyrail::proto::Log& log) {
  lines_.push_back("log " + number(log.code()));
}

void Told::gap(const host::decode::ScanGap& gap) {
  if (gap.from_scan < end_scan_ || gap.to_scan <= gap.from_scan) in_order_ = false;
  end_scan_ = gap.to_scan;
  gaps_.push_back(gap);
  lines_.push_back("gap " + number(gap.from_scan) + " " + number(gap.to_scan) + " " +
                   steadyrail::proto::LossCause_Name(gap.cause));
}

void Told::restarted(std::uint32_t boot) {
  lines_.push_back("restarted " + number(boot));
}

void Told::note(const steadyrail::proto::HostNote& note) {
  lines_.push_back("note " + note.ShortDebugString());
}

void Told::finish() {
  lines_.push_back("finish");
}

std::size_t Told::count(const std::string& word) const {
  return static_cast<std::size_t>(
      std::count_if(lines_.begin(), lines_.end(), [&](const std::string& line) { return line.starts_with(word); }));
}

}  // namespace testing_jig
