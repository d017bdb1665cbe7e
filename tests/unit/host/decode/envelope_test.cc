// SPDX-License-Identifier: Apache-2.0
#include "host/decode/envelope.h"

#include <random>

#include <gtest/gtest.h>

#include "link.pb.h"

namespace host::decode {
namespace {

using steadyrail::proto::JigToHost;

JigToHost arbitrary(std::mt19937_64& random) {
  JigToHost message;
  message.set_sequence(static_cast<std::uint32_t>(random()));
  message.set_boot(static_cast<std::uint32_t>(random() % 300));
  switch (random() % 4) {
    case 0:
      message.mutable_windows()->set_first_scan(random());
      message.mutable_windows()->set_window_count(32);
      break;
    case 1:
      message.mutable_time_mark()->set_scan(random());
      break;
    case 2:
      message.mutable_hello()->set_scan(random());
      break;
    default:
      break;
  }
  message.set_body(std::string(random() % 3000, static_cast<char>(random())));
  return message;
}

// Protobuf's own parser is the reference.
TEST(EnvelopeTest, ReadsWhatProtobufReads) {
  std::mt19937_64 random(1);
  for (int i = 0; i < 2000; ++i) {
    const JigToHost message = arbitrary(random);
    const std::string payload = message.SerializeAsString();
    const auto envelope = read_envelope(std::as_bytes(std::span(payload)));
    ASSERT_TRUE(envelope.has_value());
    EXPECT_EQ(envelope->sequence, message.sequence());
    EXPECT_EQ(envelope->boot, message.boot());
    EXPECT_EQ(envelope->content_field, static_cast<std::uint32_t>(message.content_case()));
    EXPECT_EQ(std::string(reinterpret_cast<const char*>(envelope->body.data()), envelope->body.size()), message.body());
  }
}

TEST(EnvelopeTest, RefusesWhatProtobufRefuses) {
  std::mt19937_64 random(2);
  int refused = 0;
  for (int i = 0; i < 20'000; ++i) {
    std::string payload = arbitrary(random).SerializeAsString().substr(0, 200);
    if (payload.empty()) continue;
    for (int flips = 0; flips < 3; ++flips) payload[random() % payload.size()] ^= static_cast<char>(1 << random() % 8);
    payload.resize(random() % (payload.size() + 1));
    const auto envelope = read_envelope(std::as_bytes(std::span(payload)));
    JigToHost message;
    const bool parsed = message.ParseFromString(payload);
    // Ours looks at the outer layer only, so it may take what the whole parser refuses inside, never the reverse
    // (groups, which no message of ours has, excepted: protobuf passes over them).
    if (parsed && !envelope) {
      EXPECT_GT(message.GetReflection()->GetUnknownFields(message).field_count(), 0) << i;
    }
    if (parsed && envelope) {
      EXPECT_EQ(envelope->sequence, message.sequence());
    }
    if (!envelope) ++refused;
  }
  EXPECT_GT(refused, 1000);
}

TEST(EnvelopeTest, NamesAnUnknownContentUnlessAKnownOneIsThere) {
  JigToHost message;
  message.GetReflection()->MutableUnknownFields(&message)->AddLengthDelimited(40, "later");
  std::string payload = message.SerializeAsString();
  EXPECT_EQ(read_envelope(std::as_bytes(std::span(payload)))->content_field, 40u);
  message.mutable_log()->set_code(3);
  payload = message.SerializeAsString();
  EXPECT_EQ(read_envelope(std::as_bytes(std::span(payload)))->content_field,
            static_cast<std::uint32_t>(JigToHost::kLogFieldNumber));
}

}  // namespace
}  // namespace host::decode
