// SPDX-License-Identifier: Apache-2.0
// A decoder fed by hand, and what it told.
#pragma once

#include <gtest/gtest.h>

#include "host/decode/decoder.h"
#include "tests/simulation/jig_frames.h"
#include "tests/simulation/told.h"

namespace host::decode {

using testing_jig::Bytes;
using testing_jig::JigFrames;
using testing_jig::join;
using testing_jig::Told;

inline constexpr std::uint64_t kBlockScans = 1024;  // 32 windows of 32 scans

class DecoderTest : public testing::Test {
 protected:
  void feed(const Bytes& bytes) { decoder_.feed(bytes); }
  /// Header, hello and an acknowledged start at scan 0.
  void begin() {
    feed(testing_jig::header_note());
    feed(testing_jig::port_note(steadyrail::proto::PORT_STATE_OPENED));
    feed(jig_.hello());
    feed(jig_.acknowledgement(1, 0));
  }
  steadyrail::proto::Coverage finish() {
    decoder_.finish();
    EXPECT_TRUE(told_.in_order());
    return decoder_.coverage();
  }

  Told told_;
  Decoder decoder_{told_};
  JigFrames jig_;
};

/// A session of a little of everything: 12 blocks, marks, events, a capture, a status, a closing.
Bytes small_recording();

}  // namespace host::decode
