// SPDX-License-Identifier: Apache-2.0
#include "host/decode/losses.h"

namespace host::decode {

JigLosses::Counts JigLosses::total() const {
  Counts counts = before_;
  counts.scans_lost += latest_.scans_lost();
  counts.blocks_merged += latest_.blocks_merged();
  counts.blocks_dropped += latest_.blocks_dropped();
  counts.events_dropped += latest_.events_dropped();
  counts.captures_dropped += latest_.captures_dropped();
  counts.captures_late += latest_.captures_late();
  return counts;
}

void JigLosses::restarted() {
  before_ = total();
  latest_.Clear();
}

std::vector<std::string> JigLosses::remarks() const {
  const Counts counts = total();
  std::vector<std::string> words;
  const auto tell = [&](std::uint64_t count, const char* what) {
    if (count != 0) words.push_back(std::to_string(count) + " " + what);
  };
  tell(counts.scans_lost, "scans were lost in the jig before they could be reduced");
  tell(counts.blocks_merged,
       "window blocks were merged to fit the line: extremes are complete, time resolution is halved there");
  tell(counts.blocks_dropped, "window blocks were dropped in the jig because the line could not carry them");
  tell(counts.events_dropped, "events were dropped in the jig because the line could not carry them");
  tell(counts.captures_dropped, "captures were dropped in the jig because the line could not carry them");
  tell(counts.captures_late, "captures were not taken because every slot was in use");
  return words;
}

}  // namespace host::decode
