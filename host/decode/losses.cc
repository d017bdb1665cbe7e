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
  counts.captures_cut += latest_.captures_cut();
  return counts;
}

void JigLosses::restarted() {
  before_ = total();
  latest_.Clear();
}

std::vector<std::string> JigLosses::remarks() const {
  const Counts counts = total();
  std::vector<std::string> words;
  const auto tell = [&](std::uint64_t count, const char* one, const char* many, const char* what) {
    if (count != 0) words.push_back(std::to_string(count) + (count == 1 ? one : many) + what);
  };
  const char* const no_room = " dropped in the jig because the line could not carry more";
  tell(counts.scans_lost, " scan was", " scans were", " lost in the jig before reduction");
  tell(counts.blocks_merged, " merge of window blocks was", " merges of window blocks were",
       " needed to fit the line: extremes are complete, time resolution is halved there by each");
  tell(counts.blocks_dropped, " window block was", " window blocks were", no_room);
  tell(counts.events_dropped, " event was", " events were", no_room);
  tell(counts.captures_dropped, " capture was", " captures were", no_room);
  tell(counts.captures_late, " capture was", " captures were", " not taken because every slot was in use");
  tell(counts.captures_cut, " capture ends", " captures end",
       " sooner than asked for: noise and load steps filled the jig's memory");
  return words;
}

}  // namespace host::decode
