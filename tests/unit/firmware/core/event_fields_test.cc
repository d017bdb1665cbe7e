// SPDX-License-Identifier: Apache-2.0
// Events encoded by hand against nanopb, which this project did not write.
#include <gtest/gtest.h>
#include <pb_encode.h>

#include <cstring>
#include <vector>

#include "firmware/core/envelope.h"
#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

/// Values of every length of varint, zero among them.
class Values {
 public:
  explicit Values(std::uint64_t seed) : random_(seed) {}
  std::uint64_t wide() {
    const std::uint64_t value = std::uint64_t{random_.next()} << 32 | random_.next();
    return random_.between(0, 5) == 0 ? 0 : value >> random_.between(0, 63);
  }
  std::uint32_t narrow() { return static_cast<std::uint32_t>(wide()); }
  std::int32_t code() { return static_cast<std::int32_t>(narrow()); }
  bool flag() { return random_.between(0, 1) == 1; }

 private:
  testing::Random random_;
};

steadyrail_proto_Event event_of(pb_size_t kind, Values& of) {
  steadyrail_proto_Event event = steadyrail_proto_Event_init_zero;
  event.which_kind = kind;
  switch (kind) {
    case steadyrail_proto_Event_excursion_tag:
      event.kind.excursion = {of.narrow(), steadyrail_proto_Side_SIDE_HIGH,
                              of.narrow(), of.wide(),
                              of.wide(),   of.code(),
                              of.wide(),   of.wide(),
                              of.flag()};
      break;
    case steadyrail_proto_Event_load_step_tag:
      event.kind.load_step = {of.narrow(), of.wide(), of.code(), of.narrow(), of.flag(), of.narrow()};
      break;
    case steadyrail_proto_Event_settled_tag: {
      steadyrail_proto_SettledMeans& settled = event.kind.settled;
      settled = {of.narrow(), of.wide(), of.wide(), static_cast<pb_size_t>(of.narrow() % 25), {}, 24, {}};
      for (std::int32_t& code : settled.before_code_8) code = of.code();
      for (std::int32_t& code : settled.after_code_8) code = of.code();
      break;
    }
    case steadyrail_proto_Event_edge_tag:
      event.kind.edge = {
          steadyrail_proto_Line_LINE_GATE, of.flag(), of.wide(), of.narrow(), of.narrow(), of.narrow(), of.narrow()};
      break;
    case steadyrail_proto_Event_crossing_tag:
      event.kind.crossing = {of.narrow(), of.narrow(), of.flag(), of.wide(), of.code(), of.code()};
      break;
    case steadyrail_proto_Event_step_sample_tag:
      event.kind.step_sample = {of.wide(), of.wide(), of.narrow(), of.narrow(), of.narrow()};
      break;
    default:
      event.kind.storm = {of.narrow(), steadyrail_proto_Side_SIDE_LOW, of.narrow(), of.wide(), of.wide(), of.code(),
                          of.wide()};
  }
  return event;
}

TEST(EventFieldsTest, EveryKindHasTheBytesOfNanopb) {
  for (pb_size_t kind = steadyrail_proto_Event_excursion_tag; kind <= steadyrail_proto_Event_step_sample_tag; ++kind) {
    for (std::uint64_t seed = 1; seed <= 500; ++seed) {
      Values values(seed * 8 + kind);
      const steadyrail_proto_Event event = event_of(kind, values);
      steadyrail_proto_JigToHost message = steadyrail_proto_JigToHost_init_zero;
      message.which_content = steadyrail_proto_JigToHost_event_tag;
      message.content.event = event;
      std::vector<std::byte> expected(kContentBytesMax);
      expected.resize(encode_content(message, expected));
      std::vector<std::byte> by_hand(kEventContentBytesMax);
      by_hand.resize(encode_event(event, by_hand));
      ASSERT_EQ(by_hand, expected) << "kind " << kind << ", seed " << seed;
    }
  }
}

TEST(EventFieldsTest, PrefixHasTheBytesOfNanopb) {
  for (const std::uint32_t value : {0U, 1U, 127U, 128U, 16383U, 16384U, UINT32_MAX}) {
    steadyrail_proto_JigToHost message = steadyrail_proto_JigToHost_init_zero;
    message.sequence = value;
    message.boot = UINT32_MAX - value;
    std::vector<pb_byte_t> expected(kContentBytesMax);
    pb_ostream_t stream = pb_ostream_from_buffer(expected.data(), expected.size());
    ASSERT_TRUE(pb_encode(&stream, steadyrail_proto_JigToHost_fields, &message));
    std::vector<std::byte> by_hand(kPrefixBytesMax);
    by_hand.resize(encode_prefix(message.sequence, message.boot, by_hand));
    ASSERT_EQ(by_hand.size(), stream.bytes_written);
    EXPECT_EQ(std::memcmp(by_hand.data(), expected.data(), by_hand.size()), 0);
  }
}

}  // namespace
}  // namespace firmware
