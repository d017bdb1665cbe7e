// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/supply.h"

#include <utility>

#include "host/simulate/world.h"

namespace host::simulate {

namespace {

// A load bank has no capacitors behind its plugs but the branches' snubbers, damped as they are.
constexpr double kBankFarad = 10e-6;
constexpr double kBankOhm = 0.3;

void take_pc_away(RailSetParameters& rails) {
  const auto bare = [](std::vector<Harness>& harnesses) {
    for (Harness& harness : harnesses) {
      harness.load_farad = kBankFarad;
      harness.load_esr_ohm = kBankOhm;
    }
  };
  for (RailParameters* rail : {&rails.p12v, &rails.p5v, &rails.p3v3, &rails.m12v}) bare(rail->harnesses);
  if (!rails.group) return;
  bare(rails.group->harnesses_12v);
  bare(rails.group->harnesses_5v);
}

}  // namespace

std::expected<Supply, std::string> Supply::create(std::string_view scenario, std::uint64_t seed,
                                                  const steadyrail::proto::JigDescription& jig,
                                                  const SupplyOptions& options) {
  if (jig.scan_rate_hz() != kScanRateHz) {
    return std::unexpected("the simulated supply runs at 32,000 scans a second, the jig description says " +
                           std::to_string(jig.scan_rate_hz()));
  }
  auto parameters = supply_of(scenario);
  if (!parameters) return std::unexpected(parameters.error());
  parameters->pc.present = !options.load_bank;
  if (options.load_bank) take_pc_away(parameters->rails);
  if (jig.has_load_bank()) parameters->gates = gates_of(jig);
  auto front_end = FrontEnd::create(jig, seed, kSubStepS);
  if (!front_end) return std::unexpected(front_end.error());
  const bool running = !options.from_standby && !options.load_bank;
  return Supply(std::make_unique<World>(*parameters, std::move(*front_end), seed, running));
}

Supply::Supply(std::unique_ptr<World> world) : world_(std::move(world)) {}
Supply::Supply(Supply&&) noexcept = default;
Supply& Supply::operator=(Supply&&) noexcept = default;
Supply::~Supply() = default;

void Supply::next_block(wire::ScanCodes& codes, std::vector<wire::ScanEdge>& edges, const wire::JigOutputs& outputs) {
  world_->next_block(codes, edges, outputs);
}
bool Supply::pc_works() const {
  return works(world_->pc_state());
}
std::uint64_t Supply::next_scan() const {
  return world_->scan();
}
double Supply::scan_rate_hz() const {
  return kScanRateHz;
}

}  // namespace host::simulate
