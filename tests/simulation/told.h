// SPDX-License-Identifier: Apache-2.0
// A sink that writes down all it is told, one line a call, so that two sessions can be compared and failures read.
#pragma once

#include <string>
#include <vector>

#include "host/decode/sink.h"

namespace testing_jig {

class Told : public host::decode::Sink {
 public:
  void header(const steadyrail::proto::RecordingHeader& header) override;
  void hello(const steadyrail::proto::Hello& hello) override;
  void windows(const host::decode::WindowBatch& batch) override;
  void capture(const host::decode::CaptureBatch& batch) override;
  void event(const steadyrail::proto::Event& event) override;
  void status(const steadyrail::proto::Status& status) override;
  void log(const steadyrail::proto::Log& log) override;
  void gap(const host::decode::ScanGap& gap) override;
  void restarted(std::uint32_t boot) override;
  void note(const steadyrail::proto::HostNote& note) override;
  void finish() override;

  const std::vector<std::string>& lines() const { return lines_; }
  const std::vector<host::decode::ScanGap>& gaps() const { return gaps_; }
  std::uint64_t scans_seen() const { return scans_seen_; }
  /// Lines that begin with `word`.
  std::size_t count(const std::string& word) const;
  /// Windows whose least code is not the one testing_jig::window_min_code() gives for their scan less `offset`.
  std::size_t windows_wrong() const { return windows_wrong_; }
  bool in_order() const { return in_order_; }

  std::uint64_t scan_offset = 0;  // of the boot now told of

 private:
  std::vector<std::string> lines_;
  std::vector<host::decode::ScanGap> gaps_;
  std::uint64_t scans_seen_ = 0;
  std::uint64_t end_scan_ = 0;
  std::size_t windows_wrong_ = 0;
  bool in_order_ = true;
};

}  // namespace testing_jig
