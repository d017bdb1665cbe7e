// SPDX-License-Identifier: Apache-2.0
#include "tests/trial/detail.h"

#include <algorithm>
#include <cmath>

#include "host/simulate/arithmetic.h"
#include "tests/trial/sources.h"

namespace trial {
namespace {

namespace sim = host::simulate;
namespace proto = steadyrail::proto;

constexpr double kScanS = 1 / kScansPerS;
constexpr double kSubStepS = kScanS / sim::kSubSteps;
constexpr double kPsOnLowV = 0.2;
constexpr double kTemperatureV = 0.8;  // the plugs' 30 degrees: 0.5 V and 10 mV a degree
constexpr std::array<double, sim::kTaps> kNominalV = {12, 12, 12, 12, 12, 12, 12, 5, 5, 3.3, -12, 5};

double keep_of(double time_constant_s) {
  return sim::exponential(-kSubStepS / time_constant_s);
}

}  // namespace

Detail::Detail(const sim::SupplyParameters& parameters, const host::model::Jig& jig, const Chain& chain,
               std::uint64_t seed)
    : parameters_(parameters),
      chain_(chain),
      rails_(parameters.rails, kSubStepS),
      sequence_(parameters.sequence, seed, true),
      pwr_ok_(5, keep_of(100e-6), 0.8, 2.4),
      ps_on_(kPsOnLowV, keep_of(10e-6), 0.8, 2.0) {
  if (parameters.contact && parameters.contact->closed_mean_s == 0) set_contact(parameters.contact->ohm);
  for (const auto& channel : jig.channels()) {
    Look& look = looks_[channel.index];
    const auto connector = sim::connector_named(channel.connector);
    look.connector = connector.value_or(sim::kMain);
    const auto add = [&](const host::model::JigChannel& of) {
      const auto plug = sim::connector_named(of.connector);
      const auto tap = plug ? sim::tap_of(of.rail, *plug) : std::nullopt;
      if (tap) look.taps.push_back(*tap);
    };
    switch (channel.kind) {
      case proto::CHANNEL_KIND_RAIL_VOLTAGE:
        look.kind = Look::kVolts;
        add(channel);
        break;
      case proto::CHANNEL_KIND_CURRENT:
        look.kind = Look::kAmps;
        for (const auto& other : jig.channels()) {
          if (other.kind == proto::CHANNEL_KIND_RAIL_VOLTAGE && other.current == channel.index) add(other);
        }
        break;
      case proto::CHANNEL_KIND_LOGIC:
        look.kind = channel.name == "pwr-ok" ? Look::kPwrOk : Look::kPsOn;
        break;
      case proto::CHANNEL_KIND_GROUND_OFFSET:
        look.kind = Look::kOffset;
        break;
      case proto::CHANNEL_KIND_AC_PRESENT:
        look.kind = Look::kAdapter;
        break;
      default:
        look.kind = Look::kTemperature;
    }
  }
}

void Detail::set_contact(double ohm) {
  std::array<double, sim::kTaps> extra{};
  if (parameters_.contact) extra[parameters_.contact->tap] = ohm;
  rails_.set_contact(extra);
}

sim::RailDrive Detail::drive(const Surroundings& here) const {
  return {.main_scale = sequence_.main_scale(),
          .p12v_scale = here.p12v_scale,
          .standby_scale = sequence_.standby_scale(),
          .p12v_limit_a = parameters_.rails.p12v.limit_a,
          .p5vsb_limit_a = parameters_.rails.p5vsb.limit_a,
          .main_off = sequence_.main_off(),
          .standby_off = sequence_.standby_off()};
}

sim::SequenceInputs Detail::sequence_inputs(const Surroundings& here) const {
  const sim::Instant& now = rails_.now();
  sim::SequenceInputs inputs;
  inputs.ps_on_low = !ps_on_.high();
  inputs.mains_level = here.mains_level;
  inputs.shares = {now.plug_v[sim::k12Main] / 12, now.plug_v[sim::k5Main] / 5, now.plug_v[sim::k3v3Main] / 3.3};
  for (std::size_t t = 0; t < sim::kTaps; ++t) {
    const double watts = std::abs(now.plug_v[t] * now.amps[t]);
    (t == sim::k5SbMain ? inputs.standby_w : inputs.main_w) += watts;
  }
  for (std::size_t t = sim::k12Main; t <= sim::k12Peripheral; ++t) inputs.amps_12v += now.amps[t];
  return inputs;
}

// As the full simulation has it: current sources while the rail stands, constant power and then resistors after.
double Detail::load_share(sim::Tap tap, bool pc_off) const {
  constexpr double kDropOut = 0.75;
  const double share = std::max(rails_.load_v(tap) / kNominalV[tap], 0.0);
  if (tap == sim::k5SbMain) return share > kDropOut ? 1 : share;
  if (sequence_.main_scale() == 1 && !pc_off) return share > kDropOut ? 1 : share;
  if (share > kDropOut && !pc_off) return 1 / share;
  return share;
}

double Detail::residue(const Surroundings& here) const {
  if (sequence_.main_off()) return 0;
  double amps = 0;
  for (std::size_t t = sim::k12Main; t <= sim::k12Peripheral; ++t) amps += rails_.now().amps[t];
  return parameters_.mains_residue_v * amps / parameters_.sequence.protection.rated_12v_a * here.residue_sine;
}

double Detail::value(const Look& look, std::size_t step, const Surroundings& here) const {
  const sim::Tracks& tracks = rails_.tracks();
  double sum = 0;
  switch (look.kind) {
    case Look::kVolts:
      return look.taps.empty() ? 0 : tracks.plug_v[look.taps[0]][step];
    case Look::kAmps:
      for (const sim::Tap tap : look.taps) sum += tracks.amps[tap][step];
      return sum;
    case Look::kPwrOk:
      return pwr_ok_v_[step];
    case Look::kPsOn:
      return ps_on_v_[step];
    case Look::kOffset: {
      const std::array<double, sim::kGroundNodes> volts = {tracks.ground_v[0][step], tracks.ground_v[1][step]};
      return rails_.ground().tap_volts(look.connector, volts) - rails_.ground().tap_volts(sim::kMain, volts);
    }
    case Look::kAdapter:
      return here.adapter_v;
    default:
      return kTemperatureV;
  }
}

void Detail::look(std::size_t step, const Surroundings& here, Values& out) const {
  const double residue_v = residue(here);
  for (std::size_t c = 0; c < looks_.size(); ++c) {
    out[c] = value(looks_[c], step, here);
    if (looks_[c].kind == Look::kVolts && !looks_[c].taps.empty() && looks_[c].taps[0] <= sim::k12Peripheral) {
      out[c] += residue_v;
    }
  }
}

void Detail::settle(const Surroundings& here) {
  rails_.settle(drive(here), here.amps);
  pwr_ok_v_.fill(pwr_ok_.volts());
  ps_on_v_.fill(ps_on_.volts());
  Values values{};
  look(sim::kSubSteps - 1, here, values);
  values[kLoadGraphics] = rails_.load_v(sim::k12Graphics1);
  values[kLoadProcessor] = rails_.load_v(sim::k12Processor1);
  chain_.settle(values);
}

const std::vector<LineEdge>& Detail::run(const Surroundings& here) {
  edges_.clear();
  sequence_.advance(sequence_inputs(here), kScanS);
  sim::TapAmps amps = here.amps;
  for (std::size_t t = 0; t < sim::kTaps; ++t) amps[t] *= load_share(static_cast<sim::Tap>(t), here.pc_off);
  rails_.run_scan(drive(here), amps);
  limited_ = rails_.limited();
  const auto tell = [&](proto::Line line, bool high, double share, std::size_t step) {
    if (share < 0) return;
    const double at = (static_cast<double>(step) + share) / sim::kSubSteps;
    edges_.push_back({line, high, static_cast<std::uint32_t>(std::clamp(256 * at, 0.0, 255.0))});
  };
  for (std::size_t s = 0; s < sim::kSubSteps; ++s) {
    const double standby_v = std::max(rails_.tracks().plug_v[sim::k5SbMain][s], 0.0);
    const double good = pwr_ok_.advance(sequence_.power_good() ? std::min(standby_v, 5.0) : 0);
    const double on = ps_on_.advance(here.ps_on_low ? std::min(kPsOnLowV, standby_v) : standby_v);
    pwr_ok_v_[s] = pwr_ok_.volts();
    ps_on_v_[s] = ps_on_.volts();
    tell(proto::LINE_PWR_OK, pwr_ok_.high(), good, s);
    tell(proto::LINE_PS_ON, ps_on_.high(), on, s);
    look(s, here, values_[s]);
  }
  values_.back()[kLoadGraphics] = rails_.load_v(sim::k12Graphics1);
  values_.back()[kLoadProcessor] = rails_.load_v(sim::k12Processor1);
  chain_.run(values_);
  return edges_;
}

}  // namespace trial
