// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/supply.h"

#include <algorithm>
#include <utility>

#include "host/simulate/arithmetic.h"
#include "host/simulate/front_end.h"
#include "host/simulate/rail_set.h"
#include "host/simulate/supply_parameters.h"

namespace host::simulate {
namespace {

constexpr double kScanRateHz = 32000;
constexpr double kStepS = 1 / (kScanRateHz * kSubSteps);
constexpr double kTemperatureInputV = 0.75;  // 0.5 V + 10 mV/K at 25 C

}  // namespace

class Supply::World {
 public:
  World(const SupplyParameters& parameters, FrontEnd front_end, std::uint64_t seed)
      : parameters_(parameters),
        front_end_(std::move(front_end)),
        rails_(parameters.rails, kStepS),
        load_(parameters.load, seed) {
    load_.enter(PcState::kDesktop);
    rails_.settle(drive(), load_.next_scan());
    fill(rails_.now(), signals_[0]);
    front_end_.settle(signals_[0]);
  }

  void next_block(wire::ScanCodes& codes, std::vector<wire::ScanEdge>& edges) {
    edges.clear();
    for (auto& scan : codes) next_scan(scan);
  }
  std::uint64_t scan() const { return scan_; }

 private:
  RailDrive drive() const {
    return {.main_scale = 1,
            .p12v_scale = 1,
            .standby_scale = 1,
            .p12v_limit_a = parameters_.rails.p12v.limit_a,
            .p5vsb_limit_a = parameters_.rails.p5vsb.limit_a,
            .main_off = false,
            .standby_off = false};
  }

  void fill(const Instant& instant, Signals& signals) const {
    for (std::size_t t = 0; t < kTaps; ++t) {
      signals[kTapVolts + t] = instant.plug_v[t];
      signals[kTapCurrent + t] = instant.amps[t];
    }
    for (std::size_t t = k12Main; t <= k12Peripheral; ++t) signals[kTapVolts + t] += residue_v_;
    const GroundNetwork& ground = rails_.ground();
    const double main_v = ground.tap_volts(kMain, instant.ground_v);
    signals[kOffsetProcessor] = ground.tap_volts(kProcessor1, instant.ground_v) - main_v;
    signals[kOffsetGraphics] = ground.tap_volts(kGraphics1, instant.ground_v) - main_v;
    signals[kPwrOk] = 5.0;
    signals[kPsOn] = 0.2;
    signals[kAcAdapter] = adapter_v_;
    signals[kAuxiliary] = kTemperatureInputV;
  }

  void next_scan(std::array<std::int16_t, wire::kChannelCount>& codes) {
    rails_.run_scan(drive(), load_.next_scan());
    double amps = 0;
    for (std::size_t i = k12Main; i <= k12Peripheral; ++i) amps += rails_.now().amps[i];
    mains_turns_ += parameters_.mains_hz / kScanRateHz;
    if (mains_turns_ >= 1) mains_turns_ -= 1;
    residue_v_ = parameters_.mains_residue_v * amps / parameters_.rated_12v_a * sine_of_turns(2 * mains_turns_);
    adapter_v_ = 12 * sine_of_turns(mains_turns_);
    for (std::size_t s = 0; s < kSubSteps; ++s) fill(rails_.instants()[s], signals_[s]);
    front_end_.run_scan(signals_);
    front_end_.sample({}, {}, codes);
    ++scan_;
  }

  SupplyParameters parameters_;
  FrontEnd front_end_;
  RailSet rails_;
  PcLoad load_;
  std::array<Signals, kSubSteps> signals_{};
  std::uint64_t scan_ = 0;
  double mains_turns_ = 0;
  double residue_v_ = 0;
  double adapter_v_ = 0;
};

std::expected<Supply, std::string> Supply::create(std::string_view scenario, std::uint64_t seed,
                                                  const steadyrail::proto::JigDescription& jig,
                                                  const SupplyOptions& /*options*/) {
  if (jig.scan_rate_hz() != kScanRateHz) {
    return std::unexpected("the simulated supply runs at 32,000 scans a second, the jig description says " +
                           std::to_string(jig.scan_rate_hz()));
  }
  auto parameters = supply_of(scenario);
  if (!parameters) return std::unexpected(parameters.error());
  auto front_end = FrontEnd::create(jig, seed, kStepS);
  if (!front_end) return std::unexpected(front_end.error());
  return Supply(std::make_unique<World>(*parameters, std::move(*front_end), seed));
}

Supply::Supply(std::unique_ptr<World> world) : world_(std::move(world)) {}
Supply::Supply(Supply&&) noexcept = default;
Supply& Supply::operator=(Supply&&) noexcept = default;
Supply::~Supply() = default;

void Supply::next_block(wire::ScanCodes& codes, std::vector<wire::ScanEdge>& edges, const wire::JigOutputs&) {
  world_->next_block(codes, edges);
}
std::uint64_t Supply::next_scan() const {
  return world_->scan();
}
double Supply::scan_rate_hz() const {
  return kScanRateHz;
}

}  // namespace host::simulate
