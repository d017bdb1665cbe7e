// SPDX-License-Identifier: Apache-2.0
#include "host/decode/rebase.h"

namespace host::decode {

void rebase(steadyrail::proto::Event& event, std::uint64_t offset) {
  using steadyrail::proto::Event;
  switch (event.kind_case()) {
    case Event::kExcursion: {
      auto& excursion = *event.mutable_excursion();
      excursion.set_start_scan(excursion.start_scan() + offset);
      excursion.set_end_scan(excursion.end_scan() + offset);
      excursion.set_extreme_scan(excursion.extreme_scan() + offset);
      break;
    }
    case Event::kLoadStep:
      event.mutable_load_step()->set_scan(event.load_step().scan() + offset);
      break;
    case Event::kSettled:
      event.mutable_settled()->set_before_scan(event.settled().before_scan() + offset);
      event.mutable_settled()->set_after_scan(event.settled().after_scan() + offset);
      break;
    case Event::kEdge:
      event.mutable_edge()->set_scan(event.edge().scan() + offset);
      break;
    case Event::kCrossing:
      event.mutable_crossing()->set_scan_before(event.crossing().scan_before() + offset);
      break;
    case Event::kStorm:
      event.mutable_storm()->set_first_scan(event.storm().first_scan() + offset);
      event.mutable_storm()->set_last_scan(event.storm().last_scan() + offset);
      break;
    case Event::kStepSample:
      event.mutable_step_sample()->set_first_scan(event.step_sample().first_scan() + offset);
      event.mutable_step_sample()->set_end_scan(event.step_sample().end_scan() + offset);
      break;
    case Event::KIND_NOT_SET:
      break;
  }
}

}  // namespace host::decode
