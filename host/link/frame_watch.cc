// SPDX-License-Identifier: Apache-2.0
#include "host/link/frame_watch.h"

#include <array>

#include "host/decode/envelope.h"
#include "proto/wire/frame.h"

namespace host::link {
namespace {

// A hello with 24 names of 24 bytes stays below; blocks of windows, the bulk of the line, lie above.
constexpr std::size_t kWatchedBytesMax = 1100;

template <typename Message>
void give(const std::function<void(const Message&)>& handler, std::span<const std::byte> content) {
  Message message;
  if (handler && message.ParseFromArray(content.data(), static_cast<int>(content.size()))) handler(message);
}

}  // namespace

void FrameWatch::feed(std::span<const std::byte> bytes) {
  bytes_ += bytes.size();
  splitter_.feed(bytes, [this](std::span<const std::byte> frame) { take(frame); }, [](std::uint64_t) {});
}

void FrameWatch::reset() {
  splitter_.reset();
  bytes_ = 0;
  sound_ = 0;
  boot_.reset();
}

void FrameWatch::take(std::span<const std::byte> frame) {
  using steadyrail::proto::JigToHost;
  if (frame.size() <= 1 || frame.size() > kWatchedBytesMax) return;
  std::array<std::byte, kWatchedBytesMax> buffer;
  const auto payload = wire::decode_frame(frame.first(frame.size() - 1), buffer);
  const auto envelope = payload ? decode::read_envelope(*payload) : std::nullopt;
  if (!envelope || envelope->content_field == 0) return;
  ++sound_;
  boot_ = envelope->boot;
  switch (envelope->content_field) {
    case JigToHost::kHelloFieldNumber:
      return give(on_hello, envelope->content);
    case JigToHost::kAcknowledgementFieldNumber:
      return give(on_acknowledgement, envelope->content);
    case JigToHost::kStatusFieldNumber:
      return give(on_status, envelope->content);
    case JigToHost::kCalibrationFieldNumber: {
      const auto told = [&](const steadyrail::proto::StoredCalibration& stored) {
        if (on_calibration) on_calibration(stored.calibration_id(), envelope->body);
      };
      return give<steadyrail::proto::StoredCalibration>(told, envelope->content);
    }
    default:
      return;
  }
}

}  // namespace host::link
