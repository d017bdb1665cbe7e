// SPDX-License-Identifier: Apache-2.0
#include "tests/unit/host/decode/decoder_fixture.h"

namespace host::decode {

Bytes small_recording() {
  using namespace testing_jig;
  JigFrames jig;
  Bytes bytes = join({header_note(), port_note(steadyrail::proto::PORT_STATE_OPENED), jig.hello(),
                      jig.acknowledgement(1, 0), jig.status(0, true)});
  const auto add = [&](const Bytes& more) { bytes.insert(bytes.end(), more.begin(), more.end()); };
  for (std::uint64_t block = 0; block < 12; ++block) {
    const std::uint64_t scan = block * kBlockScans;
    if (block % 4 == 0) {
      add(received_note(1'767'225'600'000'000 + scan * 125 / 4));
      add(jig.time_mark(scan));
    }
    if (block == 3) add(jig.excursion(2, scan - 40, scan - 20));
    if (block == 5) add(join({jig.capture(1, scan, 1), jig.capture(1, scan + 32, 0), jig.log(7)}));
    add(jig.windows(scan));
  }
  add(jig.status(12 * kBlockScans, false));
  add(closing_note("finished"));
  return bytes;
}

}  // namespace host::decode
