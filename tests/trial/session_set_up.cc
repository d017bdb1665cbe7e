// SPDX-License-Identifier: Apache-2.0
#include "tests/trial/session_body.h"

#include <algorithm>
#include <cmath>

#include "host/simulate/arithmetic.h"

namespace trial {
namespace {

namespace sim = host::simulate;
namespace proto = steadyrail::proto;

Wave::Mains mains_of(const host::model::Jig& jig, const Chain& chain, const Reading& dark, double turns) {
  Wave::Mains mains;
  mains.turns = turns;
  for (const auto& channel : jig.channels()) {
    if (channel.kind != proto::CHANNEL_KIND_AC_PRESENT) continue;
    mains.channel = channel.index;
    mains.zero_code = static_cast<double>(dark[channel.index]);
    mains.peak_codes = sim::Mains::kAdapterPeakV * chain.codes_per_unit(channel.index);
  }
  return mains;
}

Surroundings base_surroundings(const Levels& levels) {
  Surroundings here;
  here.amps = amps_of(levels, false);
  return here;
}

Levels first_levels(const TrackParameters& track) {
  return {track.idle_a, track.processor_a, 0.5, track.load.logic_5v_amps, 4, track.load.standby_amps};
}

/// What switching ripple leaves behind the filter, codes.
std::array<double, wire::kChannelCount> tones(const sim::SupplyParameters& supply, const host::model::Jig& jig,
                                              const Chain& chain) {
  std::array<double, wire::kChannelCount> out{};
  for (const auto& channel : jig.channels()) {
    if (channel.kind != proto::CHANNEL_KIND_RAIL_VOLTAGE || channel.rail != proto::RAIL_P12V) continue;
    const double esr = supply.rails.group ? supply.rails.group->esr_12v_ohm : supply.rails.p12v.bulk_esr_ohm;
    double gain = 1;
    for (const double hz : channel.pole_hz) gain /= std::hypot(1.0, supply.switching_hz / hz);
    out[channel.index] = supply.ripple_current_pp_a / 2 * esr * gain * chain.codes_per_unit(channel.index);
  }
  return out;
}

Wave::Drift drift_of(const sim::SupplyParameters& supply, Detail& detail, const Levels& levels) {
  Wave::Drift drift;
  if (supply.drift.share == 0) return drift;
  drift.begin = scans_of(supply.drift.begin_s);
  drift.full = scans_of(supply.drift.full_s);
  Surroundings here = base_surroundings(levels);
  detail.settle(here);
  const Reading before = detail.reading();
  here.p12v_scale = 1 + supply.drift.share;
  detail.settle(here);
  const Reading after = detail.reading();
  for (std::size_t c = 0; c < kSeen; ++c)
    drift.codes[c] = static_cast<double>(after[c]) - static_cast<double>(before[c]);
  return drift;
}

std::size_t index_of(const host::model::Jig& jig, sim::Tap tap) {
  for (const auto& channel : jig.channels()) {
    if (channel.kind != proto::CHANNEL_KIND_RAIL_VOLTAGE) continue;
    const auto connector = sim::connector_named(channel.connector);
    if (connector && sim::tap_of(channel.rail, *connector) == tap) return channel.index;
  }
  return 0;
}

Reading rest_of(Detail& detail, const Levels& levels) {
  detail.settle(base_surroundings(levels));
  return detail.reading();
}

}  // namespace

Session::Body::Body(const SessionPlan& plan, const host::model::Jig& jig, const proto::Configure& configure,
                    const proto::Arm& arm)
    : plan_(plan),
      jig_(jig),
      arm_(arm),
      random_(plan.seed, 24),
      mains_turns_(random_.uniform()),
      chain_(jig, plan.seed),
      detail_(plan.supply, jig, chain_, plan.seed),
      responses_(detail_),
      noise_(jig, plan.seed, tones(plan.supply, jig, chain_)),
      wave_(responses_, first_levels(plan.track),
            mains_of(jig, chain_, rest_of(detail_, first_levels(plan.track)), mains_turns_),
            drift_of(plan.supply, detail_, first_levels(plan.track))),
      steps_(configure,
             [this](Scan from, std::array<std::int32_t, wire::kChannelCount>& code_8) {
               for (std::size_t c = 0; c < wire::kChannelCount; ++c) code_8[c] = capturer_.mean_8(from, c);
             }),
      limits_(arm, configure.events_per_s() == 0 ? 50 : configure.events_per_s()),
      capturer_(wave_, noise_, plan.seed, plan.step_captures_per_s),
      track_(plan.track, plan.seed, [this](Scan at, Source source, double amps) { changed(at, source, amps); }) {
  std::array<double, wire::kChannelCount> residue{};
  for (const auto& channel : jig.channels()) {
    if (channel.kind == proto::CHANNEL_KIND_RAIL_VOLTAGE && channel.rail == proto::RAIL_P12V) {
      residue[channel.index] = plan.supply.mains_residue_v / plan.supply.sequence.protection.rated_12v_a *
                               chain_.codes_per_unit(channel.index);
    }
    truth_.least[channel.index] = std::numeric_limits<double>::infinity();
    truth_.most[channel.index] = -std::numeric_limits<double>::infinity();
  }
  truth_.least_12v_v = truth_.least_outside_v = std::numeric_limits<double>::infinity();
  wave_.set_residue(residue);
  if (plan.supply.contact && plan.supply.contact->closed_mean_s > 0) {
    Wave::Contact contact;
    contact.channel = index_of(jig, plan.supply.contact->tap);
    contact.current = *jig.at(contact.channel)->current;
    const double amps_per_code = 1 / chain_.codes_per_unit(contact.current);
    contact.volts_per_code = plan.supply.contact->ohm * amps_per_code;
    contact.codes_per_code = contact.volts_per_code * chain_.codes_per_unit(contact.channel);
    contact.current_zero = responses_.at_rest(contact.current, Levels{});
    wave_.set_contact(contact);
    contact_next_ = scans_of(random_.exponential_of_mean(plan.supply.contact->closed_mean_s));
  }
  if (plan.supply.mains.dip_every_s > 0) {
    next_dip_ = scans_of(plan.supply.mains.dip_every_s * random_.uniform(0.5, 1));
  }
  for (const auto& channel : jig.channels()) {
    if (channel.kind != proto::CHANNEL_KIND_CURRENT) continue;
    for (std::size_t s = 0; s < kSources; ++s) {
      if (std::abs(responses_.per_amp(channel.index, s)) > 0.01 / channel.per_code)
        current_of_.emplace_back(s, channel.index);
    }
  }
}

}  // namespace trial
