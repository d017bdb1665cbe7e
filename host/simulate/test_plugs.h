// SPDX-License-Identifier: Apache-2.0
// A simulated jig with nothing attached but its test plugs: what its inputs read while the self-test's source is joined
// to their taps, solved node by node. Knows the parts a setup names and the faults a build can have.
#pragma once

#include <array>
#include <cstdint>
#include <expected>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "host/simulate/random.h"
#include "host/simulate/scan_source.h"
#include "jig.pb.h"
#include "self_test.pb.h"

namespace host::simulate {

struct BuildFault {
  std::string_view name;
  std::string_view description;  // one sentence, ends with a full stop
};

std::span<const BuildFault> build_faults();
/// Share by which the jig's sample clock is off: not of the inputs, so whoever keeps the clocks asks for it.
double clock_fault(std::span<const std::string> faults);

class TestPlugs : public ScanSource {
 public:
  /// Each part is drawn inside its tolerance. `faults`: names, each with ":CHANNEL" (or ":LINK", ":GROUP") behind it
  /// where the seed is not to choose. Errors: an unknown fault or place; more than four poles; a channel beyond 23.
  static std::expected<TestPlugs, std::string> create(const steadyrail::proto::JigDescription& jig,
                                                      const steadyrail::proto::TestSetup& setup, std::uint64_t seed,
                                                      std::span<const std::string> faults);

  void next_block(wire::ScanCodes& codes, std::vector<wire::ScanEdge>& edges, const wire::JigOutputs& outputs) override;
  std::uint64_t next_scan() const override { return scan_; }
  double scan_rate_hz() const override { return scan_rate_hz_; }

  /// "wrong-upper at main-12v", ...: where each fault was put.
  const std::vector<std::string>& placed() const { return placed_; }

 private:
  explicit TestPlugs(std::uint64_t seed) : random_(seed, 11), noise_(seed, 12), places_(seed, 13) {}

  struct Input {  // a channel with a tap
    std::size_t channel = 0;
    std::string name;
    std::size_t group = 0;
    double upper[2] = {0, 0};  // of both legs
    double lower[2] = {0, 0};
    double end_v = 0;
    bool one_leg = false;
    double bleed = 0;
    double attenuation = 0;
    double attenuation_ohm = 0;
    double gain = 0;  // 0: of the divider
    double at_zero_v = 0;
    bool lead_off = false;
    bool return_off = false;
    double leak_a = 0;        // of the clamp, at 12 V; grows with the third power
    std::size_t lead_at = 0;  // input whose tap its lead is soldered to
  };
  struct Channel {
    bool used = false;
    double rest_v = 0;  // at the converter, without a tap
    double scale = 1;
    double offset_v = 0;
    double noise_codes = 0;
    std::vector<double> keep;  // of each pole, per sub-step
    std::vector<double> state;
    double input_v = 0;
    double coming_v = 0;
    int delay = 0;  // sub-steps
    int wait = 0;
    bool settled = true;
  };
  struct Group {
    char letter = '?';
    double tie = 0;
  };
  struct Joined {
    double level_v = 0;
    double source_ohm = 0;
    std::vector<bool> taps;  // by input
  };

  std::expected<void, std::string> build(const steadyrail::proto::JigDescription& jig,
                                         const steadyrail::proto::TestSetup& setup);
  std::expected<void, std::string> place(const std::string& fault, const steadyrail::proto::TestSetup& setup);
  void spoil(const std::string& name, std::size_t input);
  Joined joined(const wire::JigOutputs& outputs) const;
  void join(const wire::JigOutputs& outputs);
  std::vector<double> solve(const Joined& joined, const std::vector<double>& leaks, std::vector<double>& leads) const;
  void advance(Channel& channel);
  double drawn(double nominal, double tolerance);

  Random random_;
  Random noise_;
  Random places_;
  double scan_rate_hz_ = 0;
  double full_scale_v_ = 0;
  double bow_codes_ = 0;
  std::array<double, 8> level_v_{};
  double strong_ohm_ = 0;
  double weak_ohm_ = 0;
  std::vector<Input> inputs_;
  std::vector<Group> groups_;
  std::array<Channel, wire::kChannelCount> channels_;
  std::vector<std::size_t> link_inputs_;  // by output less 24; the number of inputs: no such link
  std::uint32_t links_open_ = 0;
  struct CrossTalk {
    std::size_t from = 0;
    std::size_t to = 0;
    double share = 0;
  };
  std::vector<CrossTalk> cross_talk_;
  std::vector<std::string> placed_;
  std::uint64_t scan_ = 0;
  std::uint32_t outputs_ = 0;
  std::uint32_t level_ = 0;
  std::uint32_t weak_ = 0;
};

}  // namespace host::simulate
