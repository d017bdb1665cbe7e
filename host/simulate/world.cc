// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/world.h"

#include <algorithm>
#include <cmath>
#include <span>
#include <utility>

#include "host/simulate/arithmetic.h"
#include "link.pb.h"

namespace host::simulate {
namespace {

namespace proto = steadyrail::proto;

constexpr double kPwrOkOhm = 1000;
constexpr double kPwrOkFarad = 100e-9;
constexpr double kPsOnS = 10e-6;   // time constant of the PS_ON# line
constexpr double kPsOnLowV = 0.2;  // with the PC's transistor on
constexpr std::array<double, kTaps> kNominalV = {12, 12, 12, 12, 12, 12, 12, 5, 5, 3.3, -12, 5};

double keep_of(double time_constant_s) {
  return exponential(-kSubStepS / time_constant_s);
}

Ripple main_ripple(const SupplyParameters& parameters) {
  const RailSetParameters& rails = parameters.rails;
  Ripple ripple{.hz = parameters.switching_hz, .peak_v = {}};
  const double half = parameters.ripple_current_pp_a / 2;
  const double esr_12v = rails.group ? rails.group->esr_12v_ohm : rails.p12v.bulk_esr_ohm;
  const double esr_5v = rails.group ? rails.group->esr_5v_ohm : rails.p5v.bulk_esr_ohm;
  for (std::size_t t = k12Main; t <= k12Peripheral; ++t) ripple.peak_v[t] = half * esr_12v;
  ripple.peak_v[k5Main] = ripple.peak_v[k5Peripheral] = half * esr_5v;
  ripple.peak_v[k3v3Main] = half * rails.p3v3.bulk_esr_ohm;
  return ripple;
}

Ripple standby_ripple(const SupplyParameters& parameters) {
  Ripple ripple{.hz = parameters.standby_switching_hz, .peak_v = {}};
  ripple.peak_v[k5SbMain] = parameters.standby_ripple_current_pp_a / 2 * parameters.rails.p5vsb.bulk_esr_ohm;
  return ripple;
}

}  // namespace

World::World(const SupplyParameters& parameters, FrontEnd front_end, std::uint64_t seed, bool running)
    : parameters_(parameters),
      front_end_(std::move(front_end)),
      rails_(parameters.rails, kSubStepS),
      mains_(parameters.mains, seed, kScanS),
      sequence_(parameters.sequence, seed, running),
      pc_(parameters.pc, parameters.load, seed, running),
      jitter_(seed, 8),
      pwr_ok_(running ? 5 : 0, keep_of(kPwrOkOhm * kPwrOkFarad), 0.8, 2.4),
      ps_on_(running ? kPsOnLowV : 5, keep_of(kPsOnS), 0.8, 2.0) {
  if (parameters.contact) {
    contact_.emplace(*parameters.contact, seed);
    std::array<double, kTaps> ohm{};
    ohm[contact_->tap()] = contact_->ohm();
    rails_.set_contact(ohm);
  }
  front_end_.set_ripple(main_ripple(parameters), standby_ripple(parameters));
  TapAmps amps = pc_.next_amps();
  if (!running) {
    for (std::size_t t = 0; t < kTaps; ++t) amps[t] = t == k5SbMain ? amps[t] : 0;
  }
  rails_.settle(drive(), amps);
  fill_signals();
  signals_[kPwrOk].fill(pwr_ok_.volts());
  signals_[kPsOn].fill(ps_on_.volts());
  front_end_.settle(signals_);
}

void World::next_block(wire::ScanCodes& codes, std::vector<wire::ScanEdge>& edges, const wire::JigOutputs& outputs) {
  edges.clear();
  edges_ = &edges;
  for (scan_in_block_ = 0; scan_in_block_ < codes.size(); ++scan_in_block_) {
    const double main_sine = sequence_.main_off() ? 0 : sine_of_turns(switching_turns_);
    const double standby_sine = sequence_.standby_off() ? 0 : sine_of_turns(standby_turns_);
    front_end_.sample(main_sine, standby_sine, codes[scan_in_block_]);
    advance(outputs);  // up to the next sampling instant
    if (watcher_) watcher_(scan_, signals_);
    ++scan_;
  }
}

void World::add_edge(int line, bool high, double share, std::uint32_t pulse_ns) {
  if (edges_->size() == wire::kScanEdgesMax) return;
  wire::ScanEdge edge{};
  edge.line = static_cast<std::uint8_t>(line);
  edge.high = high;
  edge.offset = static_cast<std::uint16_t>(scan_in_block_);
  edge.offset_256 = static_cast<std::uint16_t>(std::clamp(share * 256, 0.0, 255.0));
  edge.pulse_ns = pulse_ns;
  const auto time = [](const wire::ScanEdge& e) { return e.offset * 256 + e.offset_256; };
  edges_->insert(std::ranges::upper_bound(*edges_, time(edge), {}, time), edge);
}

void World::advance(const wire::JigOutputs& outputs) {
  advance_mains();
  sequence_.advance(sequence_inputs(), kScanS);
  watch_chatter();
  const double least_v = std::min(rails_.load_v(k12Graphics1), rails_.load_v(k12Processor1));
  pc_.advance({pwr_ok_.high(), rails_.load_v(k5SbMain), least_v}, kScanS);
  if (pc_.marker_pressed() != marker_) {
    marker_ = !marker_;
    add_edge(proto::LINE_MARKER, marker_, 0);
  }
  if (contact_ && contact_->advance(kScanS)) {
    std::array<double, kTaps> ohm{};
    ohm[contact_->tap()] = contact_->ohm();
    rails_.set_contact(ohm);
  }
  rails_.run_scan(drive(), load_amps(outputs));
  fill_signals();
  run_lines(outputs.ps_on_driven != 0);
  front_end_.run_scan(signals_);
}

void World::advance_mains() {
  mains_.advance();
  const double share = ac_.advance(mains_, kScanS);
  if (share >= 0) add_edge(proto::LINE_AC_PRESENT, ac_.present(), share);
  constexpr double kDriftKept = 0.9997;
  constexpr double kDriftStirred = 5e-6;
  switching_drift_ = kDriftKept * switching_drift_ + kDriftStirred * jitter_.normal();
  switching_turns_ += parameters_.switching_hz * (1 + switching_drift_) * kScanS;
  switching_turns_ -= std::floor(switching_turns_);
  standby_turns_ += parameters_.standby_switching_hz * (1 - switching_drift_) * kScanS;
  standby_turns_ -= std::floor(standby_turns_);
}

void World::watch_chatter() {
  if (!parameters_.pwr_ok_chatters) return;
  constexpr double kNearV = 3;
  constexpr std::uint32_t kPulseNs = 2000;
  const double warn_v = parameters_.sequence.bulk.warn_v;
  if (chatter_armed_ && sequence_.power_good() && sequence_.bulk_v() < warn_v + kNearV) {
    add_edge(proto::LINE_PWR_OK, true, 0.5, kPulseNs);
    chatter_armed_ = false;
  }
  if (sequence_.bulk_v() > warn_v + 4 * kNearV) chatter_armed_ = true;
}

SequenceInputs World::sequence_inputs() const {
  const Instant& now = rails_.now();
  SequenceInputs inputs;
  inputs.ps_on_low = !ps_on_.high();
  inputs.mains_level = mains_.level();
  inputs.shares = {now.plug_v[k12Main] / 12, now.plug_v[k5Main] / 5, now.plug_v[k3v3Main] / 3.3};
  for (std::size_t t = 0; t < kTaps; ++t) {
    const double watts = std::abs(now.plug_v[t] * now.amps[t]);
    (t == k5SbMain ? inputs.standby_w : inputs.main_w) += watts;
  }
  for (std::size_t t = k12Main; t <= k12Peripheral; ++t) inputs.amps_12v += now.amps[t];
  return inputs;
}

RailDrive World::drive() const {
  const DriftParameters& drift = parameters_.drift;
  const double time_s = static_cast<double>(scan_) * kScanS;
  const double travelled =
      drift.share == 0 ? 0 : std::clamp((time_s - drift.begin_s) / (drift.full_s - drift.begin_s), 0.0, 1.0);
  return {.main_scale = sequence_.main_scale(),
          .p12v_scale = 1 + drift.share * travelled,
          .standby_scale = sequence_.standby_scale(),
          .p12v_limit_a = parameters_.rails.p12v.limit_a,
          .p5vsb_limit_a = parameters_.rails.p5vsb.limit_a,
          .main_off = sequence_.main_off(),
          .standby_off = sequence_.standby_off()};
}

// While the converter holds a rail its loads are current sources. Once it does not, the PC's regulators take constant
// power until they drop out, and what is left looks like a resistor.
double World::load_share(Tap tap) const {
  constexpr double kDropOut = 0.75;  // of nominal
  const double share = std::max(rails_.load_v(tap) / kNominalV[tap], 0.0);
  if (tap == k5SbMain) return share > kDropOut ? 1 : share;
  if (sequence_.main_scale() == 1 && pc_.state() != PcState::kOff) return share > kDropOut ? 1 : share;
  if (share > kDropOut && pc_.state() != PcState::kOff) return 1 / share;
  return share;
}

// Of the scan under way: how long each gate is on.
std::array<double, kGates> World::gate_shares(const wire::JigOutputs& outputs) const {
  constexpr int kParts = 256;
  std::array<double, kGates> shares{};
  std::uint32_t gates = outputs.gates;
  int from = 0;
  const auto pass = [&](int to) {
    for (std::size_t g = 0; g < kGates; ++g) shares[g] += (gates >> g & 1) != 0 ? double(to - from) / kParts : 0;
    from = to;
  };
  for (const wire::ScanGateEdge& edge : std::span(outputs.edges).first(outputs.edge_count)) {
    const int at = (edge.offset - static_cast<int>(scan_in_block_)) * kParts + edge.offset_256;
    if (at >= kParts) break;
    if (at > 0) pass(at);
    gates = edge.gates;
  }
  pass(kParts);
  return shares;
}

TapAmps World::load_amps(const wire::JigOutputs& outputs) {
  TapAmps amps = pc_.next_amps();
  // Without a PC nothing is left of its bleeders at the plugs but the jig's own dividers.
  constexpr double kDividersShare = 0.02;
  if (!parameters_.pc.present) {
    for (double& one : amps) one *= kDividersShare;
  }
  const std::array<double, kGates> shares = gate_shares(outputs);
  for (std::size_t g = 0; g < kGates; ++g) amps[parameters_.gates[g].tap] += shares[g] * parameters_.gates[g].amps;
  for (std::size_t t = 0; t < kTaps; ++t) amps[t] *= load_share(static_cast<Tap>(t));
  return amps;
}

void World::fill_signals() {
  double amps = 0;
  double watts = 0;
  for (std::size_t t = 0; t < kTaps; ++t) {
    watts += std::abs(rails_.now().plug_v[t] * rails_.now().amps[t]);
    if (t <= k12Peripheral) amps += rails_.now().amps[t];
  }
  // The jig's plugs warm with what flows through them: 10 K at 500 W, 15 minutes.
  temperature_c_ += (25 + watts / 50 - temperature_c_) * (kScanS / 900);
  const double before = residue_v_;
  residue_v_ = sequence_.main_off() ? 0
                                    : parameters_.mains_residue_v * amps / parameters_.sequence.protection.rated_12v_a *
                                          mains_.residue_phase();
  const double rise = (residue_v_ - before) / kSubSteps;
  Track residue;
  for (std::size_t s = 0; s < kSubSteps; ++s) residue[s] = before + rise * static_cast<double>(s + 1);

  const Tracks& tracks = rails_.tracks();
  for (std::size_t t = 0; t < kTaps; ++t) {
    signals_[kTapVolts + t] = tracks.plug_v[t];
    signals_[kTapCurrent + t] = tracks.amps[t];
    if (t > k12Peripheral) continue;
    for (std::size_t s = 0; s < kSubSteps; ++s) signals_[kTapVolts + t][s] += residue[s];
  }
  const GroundNetwork& ground = rails_.ground();
  for (std::size_t s = 0; s < kSubSteps; ++s) {
    const std::array<double, kGroundNodes> volts = {tracks.ground_v[kBoard][s], tracks.ground_v[kCard][s]};
    const double main_v = ground.tap_volts(kMain, volts);
    signals_[kOffsetProcessor][s] = ground.tap_volts(kProcessor1, volts) - main_v;
    signals_[kOffsetGraphics][s] = ground.tap_volts(kGraphics1, volts) - main_v;
  }
  signals_[kAcAdapter].fill(mains_.adapter_v());
  signals_[kAuxiliary].fill(0.5 + 0.01 * temperature_c_);
}

void World::run_lines(bool ps_on_driven) {
  const bool held_low = ps_on_driven || pc_.holds_ps_on_low();
  for (std::size_t s = 0; s < kSubSteps; ++s) {
    const double standby_v = std::max(rails_.tracks().plug_v[k5SbMain][s], 0.0);
    const double good_change = pwr_ok_.advance(sequence_.power_good() ? std::min(standby_v, 5.0) : 0);
    const double on_change = ps_on_.advance(held_low ? std::min(kPsOnLowV, standby_v) : standby_v);
    signals_[kPwrOk][s] = pwr_ok_.volts();
    signals_[kPsOn][s] = ps_on_.volts();
    const double done = static_cast<double>(s);
    if (good_change >= 0) add_edge(proto::LINE_PWR_OK, pwr_ok_.high(), (done + good_change) / kSubSteps);
    if (on_change >= 0) add_edge(proto::LINE_PS_ON, ps_on_.high(), (done + on_change) / kSubSteps);
  }
}

}  // namespace host::simulate
