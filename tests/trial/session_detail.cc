// SPDX-License-Identifier: Apache-2.0
#include "tests/trial/session_body.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "host/simulate/arithmetic.h"

namespace trial {
namespace {

namespace sim = host::simulate;
namespace proto = steadyrail::proto;

constexpr Scan kWarmUp = 64;  // simulated before what is shown, so that the last step has died away
constexpr Scan kCalm = 192;   // without a reason to simulate before closed forms hold again
constexpr double kNearLimit = 0.97;
constexpr double kNearTrip = 0.98;
constexpr double kMainsReturnS = 0.010;  // of quiet before the detector says that it is back
constexpr double kMainsDeparture = 0.2;
constexpr float kFrozenCodes = 0.5F;
constexpr double kFrozenS = 0.02;

}  // namespace

Surroundings Session::Body::surroundings(Scan scan) const {
  Surroundings here;
  here.amps = amps_of(track_.levels(), track_.off());
  here.pc_off = track_.off();
  here.ps_on_low = track_.ps_on_low();
  here.mains_level = mains_troubled(scan) ? dip_->level : 1;
  const double turns = mains_turns_ + static_cast<double>(scan % 640) * plan_.supply.mains.hz / kScansPerS;
  here.adapter_v = here.mains_level * sim::Mains::kAdapterPeakV * sim::sine_of_turns(turns);
  here.residue_sine = sim::sine_of_turns(2 * turns);
  const sim::DriftParameters& drift = plan_.supply.drift;
  if (drift.share != 0) {
    const double time_s = static_cast<double>(scan) / kScansPerS;
    here.p12v_scale = 1 + drift.share * std::clamp((time_s - drift.begin_s) / (drift.full_s - drift.begin_s), 0.0, 1.0);
  }
  return here;
}

void Session::Body::plan_contact(Scan until) {
  const auto& contact = plan_.supply.contact;
  while (contact_next_ < until) {
    const Scan end = contact_next_ + std::max<Scan>(1, scans_of(random_.exponential_of_mean(contact->open_mean_s)));
    wave_.open_contact(contact_next_, end);
    ++truth_.openings;
    contact_next_ = end + scans_of(random_.exponential_of_mean(contact->closed_mean_s));
  }
}

void Session::Body::plan_mains(Scan from) {
  if (next_dip_ >= from + kWindow) return;
  const sim::MainsParameters& mains = plan_.supply.mains;
  const Scan begin = std::max(next_dip_, from);
  dip_ = Dip{begin, begin + scans_of(random_.uniform(mains.dip_least_s, mains.dip_most_s)),
             random_.uniform(0, mains.dip_level_most)};
  next_dip_ = dip_->end + scans_of(mains.dip_every_s * random_.uniform(0.5, 1.5));
  ++truth_.dips;
}

bool Session::Body::must_simulate(Scan from) const {
  if (dip_ && from + kWindow > dip_->begin && from < dip_->end) return true;
  if (!ac_present_) return true;
  double most = total_12v(wave_.levels());
  double most_standby = wave_.levels()[kStandby];
  for (auto step = wave_.steps().rbegin(); step != wave_.steps().rend() && step->at >= from; ++step) {
    most = std::max(most, total_12v(step->before));
    most_standby = std::max(most_standby, step->before[kStandby]);
  }
  const sim::ProtectionParameters& protection = plan_.supply.sequence.protection;
  const double own = plan_.supply.rails.group ? 1e9 : plan_.supply.rails.p12v.limit_a;
  const double limit = std::min({kNearLimit * own, kNearTrip * protection.over_current * protection.rated_12v_a,
                                 kNearTrip * (protection.over_power * protection.rated_w - 60) / 12});
  return most > limit || most_standby > kNearLimit * plan_.supply.rails.p5vsb.limit_a;
}

void Session::Body::begin_detail(Scan from) {
  detailed_ = true;
  const Scan first = std::max<Scan>(0, from - kWarmUp);
  Surroundings here = surroundings(first);
  here.mains_level = 1;
  here.amps = amps_of(wave_.levels_at(first), false);
  wanted_.fill(here.amps);
  detail_.settle(here);
  for (Scan scan = first; scan < from; ++scan) {
    here = surroundings(scan);
    here.mains_level = 1;
    wanted_[static_cast<std::size_t>(scan) % 3] = amps_of(wave_.levels_at(scan), false);
    for (std::size_t t = 0; t < sim::kTaps; ++t) here.amps[t] = (wanted_[0][t] + wanted_[1][t] + wanted_[2][t]) / 3;
    if (plan_.supply.contact && plan_.supply.contact->closed_mean_s > 0) {
      detail_.set_contact(wave_.contact_open(scan) ? plan_.supply.contact->ohm : 0);
    }
    detail_.run(here);
  }
  last_ = detail_.reading();
  calm_since_ = from;
}

void Session::Body::edge(proto::Line line, bool high, Scan scan, std::uint32_t offset_256, std::uint32_t pulse_ns) {
  proto::Edge& told = *events_.emplace_back().mutable_edge();
  told.set_line(line);
  told.set_high(high);
  told.set_scan(static_cast<std::uint64_t>(scan));
  told.set_offset_256(offset_256);
  told.set_pulse_ns(pulse_ns);
}

void Session::Body::mains_edges(Scan scan) {
  const Surroundings here = surroundings(scan);
  const double turns = mains_turns_ + static_cast<double>(scan % 640) * plan_.supply.mains.hz / kScansPerS;
  departure_ = std::abs((here.mains_level - 1) * sim::sine_of_turns(turns));
  if (ac_present_) {
    if (departure_ <= kMainsDeparture) return;
    ac_present_ = false;
    quiet_ = 0;
    return edge(proto::LINE_AC_PRESENT, false, scan, 0);
  }
  quiet_ = departure_ <= kMainsDeparture ? quiet_ + 1 : 0;
  if (static_cast<double>(quiet_) < kMainsReturnS * kScansPerS) return;
  ac_present_ = true;
  edge(proto::LINE_AC_PRESENT, true, scan, 0);
}

void Session::Body::crossings(Scan scan, const Reading& before, const Reading& after) {
  const auto code = [&](std::size_t c, Scan at, float x) {
    const Scan window = at / kWindow * kWindow;
    return static_cast<std::int32_t>(std::floor(x + noise_.samples(c, window)[at - window] + 0.5F));
  };
  for (int i = 0; i < arm_.thresholds_size(); ++i) {
    const auto& threshold = arm_.thresholds(i);
    const std::size_t c = threshold.channel();
    const float level = static_cast<float>(threshold.code());
    // Noise never reaches this far.
    if (std::min(before[c], after[c]) > level + 200 || std::max(before[c], after[c]) < level - 200) continue;
    const std::int32_t first = code(c, scan, before[c]);
    const std::int32_t second = code(c, scan + 1, after[c]);
    if ((first < threshold.code()) == (second < threshold.code())) continue;
    proto::Crossing& told = *events_.emplace_back().mutable_crossing();
    told.set_channel(threshold.channel());
    told.set_threshold(static_cast<std::uint32_t>(i));
    told.set_rising(first < threshold.code());
    told.set_scan_before(static_cast<std::uint64_t>(scan));
    told.set_code_before(first);
    told.set_code_after(second);
  }
}

void Session::Body::detail_window(Scan from) {
  const bool opens = plan_.supply.contact && plan_.supply.contact->closed_mean_s > 0;
  for (Scan scan = from; scan < from + kWindow; ++scan) {
    wave_.simulated(scan, last_);
    track_.advance(scan + 1);
    Surroundings here = surroundings(scan);
    wanted_[static_cast<std::size_t>(scan) % 3] = here.amps;
    for (std::size_t t = 0; t < sim::kTaps; ++t) here.amps[t] = (wanted_[0][t] + wanted_[1][t] + wanted_[2][t]) / 3;
    if (opens) detail_.set_contact(wave_.contact_open(scan) ? plan_.supply.contact->ohm : 0);
    const sim::Trip trip = detail_.trip();
    const auto& edges = detail_.run(here);
    if (trip == sim::Trip::kNone && detail_.trip() != sim::Trip::kNone) ++truth_.trips;
    for (const LineEdge& one : edges) {
      edge(one.line, one.high, scan, one.offset_256);
      if (one.line == proto::LINE_PWR_OK && !one.high) ++truth_.shutdowns;
    }
    mains_edges(scan);
    if (plan_.supply.pwr_ok_chatters) {
      const double warn_v = plan_.supply.sequence.bulk.warn_v;
      if (chatter_armed_ && detail_.power_good() && detail_.bulk_v() < warn_v + 3) {
        edge(proto::LINE_PWR_OK, true, scan, 128, 2000);
        chatter_armed_ = false;
      }
      if (detail_.bulk_v() > warn_v + 12) chatter_armed_ = true;
    }
    const Reading now = detail_.reading();
    crossings(scan, last_, now);
    bool still = true;
    for (std::size_t c = 0; c < wire::kChannelCount; ++c) {
      const bool mains = jig_.at(c)->kind == proto::CHANNEL_KIND_AC_PRESENT;
      still = still && (mains || std::abs(now[c] - last_[c]) < kFrozenCodes);
    }
    if (!still || detail_.running()) still_since_ = scan;
    last_ = now;
    track_.power(scan, detail_.power_good(), detail_.standby_v(), 1);
    if (detail_.limited() || !detail_.running()) calm_since_ = scan;
  }
  truth_.simulated_s += static_cast<double>(kWindow) / kScansPerS;
  const bool runs = detail_.running();
  if (!runs) {
    on_ = false;
  } else if (!on_) {
    on_ = true;
    on_since_ = from;
  }
  if (must_simulate(from)) calm_since_ = from;
  const bool bulk_full = detail_.bulk_v() > plan_.supply.sequence.bulk.set_v - 5;
  if (runs && bulk_full && !track_.off() && from - calm_since_ > kCalm) detailed_ = false;
  // Off and at rest: nothing moves until somebody asks.
  const bool asleep = detailed_ && !detail_.running() && detail_.state() != sim::SupplyState::kDelay &&
                      detail_.state() != sim::SupplyState::kRamp && detail_.state() != sim::SupplyState::kSettle;
  const bool wakes = detail_.state() == sim::SupplyState::kIdle && track_.ps_on_low();
  frozen_ = asleep && !wakes && !mains_troubled(from + kWindow) && ac_present_ &&
            static_cast<double>(from - still_since_) > kFrozenS * kScansPerS;
}

void Session::Body::frozen_window(Scan from) {
  const bool was_low = track_.ps_on_low();
  for (Scan scan = from; scan < from + kWindow; ++scan) {
    Reading now = last_;
    for (const auto& channel : jig_.channels()) {
      if (channel.kind == proto::CHANNEL_KIND_AC_PRESENT)
        now[channel.index] = static_cast<float>(wave_.mains_code(scan));
    }
    wave_.simulated(scan, now);
  }
  track_.advance(from + kWindow);
  track_.power(from + kWindow, false, detail_.standby_v(), kWindow);
  detail_.idle(surroundings(from), static_cast<double>(kWindow) / kScansPerS);
  wanted_.fill(surroundings(from + kWindow).amps);
  const bool asked = track_.ps_on_low() != was_low;
  if (asked || (dip_ && mains_troubled(from + kWindow))) {
    frozen_ = false;
    still_since_ = from + kWindow;
  }
}

}  // namespace trial
