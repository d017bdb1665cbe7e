// SPDX-License-Identifier: Apache-2.0
// Frames as a jig sends them. Codes follow from channel and scan alone, so that a test can tell where any came from.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include "link.pb.h"
#include "proto/wire/window.h"
#include "recording.pb.h"

namespace testing_jig {

using Bytes = std::vector<std::byte>;

Bytes join(std::initializer_list<Bytes> parts);
Bytes note(const steadyrail::proto::HostNote& note);
Bytes header_note();
Bytes received_note(std::uint64_t utc_us);
Bytes port_note(steadyrail::proto::PortState state);
Bytes lost_note(std::uint64_t bytes);
Bytes closing_note(const std::string& reason);

/// Smallest code of `channel` in the window that starts at `first_scan`; the largest is 100 more.
std::int16_t window_min_code(std::size_t channel, std::uint64_t first_scan);

class JigFrames {
 public:
  explicit JigFrames(std::uint32_t boot = 1, std::uint32_t sequence = 0) : boot_(boot), sequence_(sequence) {}

  Bytes hello(std::uint64_t scan = 0, std::uint32_t protocol_version = 1, const std::string& jig_id = "J-01");
  Bytes acknowledgement(std::uint32_t id, std::uint64_t scan,
                        steadyrail::proto::Refusal refusal = steadyrail::proto::REFUSAL_NONE);
  Bytes status(std::uint64_t scan, bool running);
  Bytes time_mark(std::uint64_t scan);
  Bytes log(std::uint32_t code);
  Bytes excursion(std::uint32_t channel, std::uint64_t start_scan, std::uint64_t end_scan);
  Bytes windows(std::uint64_t first_scan, std::uint32_t window_count = wire::kWindowsPerBlock,
                std::uint32_t scans_per_window = 32);
  Bytes capture(std::uint32_t capture, std::uint64_t first_scan, std::uint32_t remaining);
  /// Any message, with a body behind it.
  Bytes frame(steadyrail::proto::JigToHost message, const Bytes& body = {});

  std::uint32_t sequence() const { return sequence_; }
  void skip(std::uint32_t frames) { sequence_ += frames; }

 private:
  std::uint32_t boot_;
  std::uint32_t sequence_;
};

}  // namespace testing_jig
