// SPDX-License-Identifier: Apache-2.0
// What the session itself needs to see of the jig's frames: hello, acknowledgements, status, the calibration kept, the
// boot counter.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>

#include "host/decode/frame_splitter.h"
#include "link.pb.h"

namespace host::link {

class FrameWatch {
 public:
  std::function<void(const steadyrail::proto::Hello&)> on_hello;
  std::function<void(const steadyrail::proto::Acknowledgement&)> on_acknowledgement;
  std::function<void(const steadyrail::proto::Status&)> on_status;
  std::function<void(const std::string& id, std::span<const std::byte> content)> on_calibration;

  void feed(std::span<const std::byte> bytes);
  /// Forgets an unfinished frame and all counts: another port.
  void reset();

  std::uint64_t bytes() const { return bytes_; }
  std::uint64_t sound() const { return sound_; }
  /// Of the latest sound frame looked into.
  std::optional<std::uint32_t> boot() const { return boot_; }

 private:
  void take(std::span<const std::byte> frame);

  decode::FrameSplitter splitter_;
  std::uint64_t bytes_ = 0;
  std::uint64_t sound_ = 0;
  std::optional<std::uint32_t> boot_;
};

}  // namespace host::link
