// SPDX-License-Identifier: Apache-2.0
#include "host/selftest/signal_checks.h"

#include <algorithm>
#include <cmath>
#include <map>

#include <fmt/format.h>

#include "host/selftest/circuit.h"
#include "host/selftest/edge.h"

namespace host::selftest {
namespace {

namespace proto = steadyrail::proto;

constexpr double kCrossTalkV = 0.01;  // at a tap of another group (hardware-notes/bring-up.md)
constexpr double kLinkOhmMost = 50;   // own choice: contact and wire; the source tells 10 ohm
constexpr double kSkewOwnS = 1e-6;    // of the two scans' fit; own choice

class SignalChecks {
 public:
  SignalChecks(const Readings& readings, proto::SelfTestReport& report) : r_(readings), report_(report) {}

  void run() {
    cross_talk();
    for (int k = 0; k < r_.setup().links_size(); ++k) link(k);
    skew();
    clock();
  }

 private:
  void cross_talk() {
    struct Worst {
      double volts = 0;
      std::string words;
      double u = 0;
    };
    std::map<std::pair<char, char>, Worst> worst;
    const Observed* off = r_.find(Purpose::kOff);
    for (int n = 0; off != nullptr && n < r_.setup().inputs_size(); ++n) {
      const Observed* high = r_.find(Purpose::kHigh, n);
      if (high == nullptr || !r_.mapped(n)) continue;
      for (int k = 0; k < r_.setup().inputs_size(); ++k) {
        const char from = r_.group(n);
        const char to = r_.group(k);
        if (from == to) continue;
        const double scale = gain_of(r_.setup().inputs(k));
        const double moved = std::abs(r_.volts(*high, r_.channel_of(k)) - r_.volts(*off, r_.channel_of(k))) / scale;
        Worst& entry = worst[{from, to}];
        if (moved < entry.volts) continue;
        entry = {moved,
                 fmt::format("{} at {}'s tap moves {}", fmt::format("{:g} V", r_.level_of(*high)),
                             r_.setup().inputs(n).channel(), r_.setup().inputs(k).channel()),
                 (r_.clipped(*off, r_.channel_of(k)) ? r_.setup().converter_offset_v() : r_.inl_v() / 8) / scale};
      }
    }
    for (const auto& [groups, entry] : worst) {
      proto::TestItem& item =
          add_item(report_, "cross-talk", fmt::format("group {} into {}", groups.first, groups.second),
                   decide(entry.volts, entry.u, kCrossTalkV));
      fill(item, fmt::format("{:.2f} mV", 1e3 * entry.volts), fmt::format("{:.0f} mV", 1e3 * kCrossTalkV),
           "bring-up.md: no channel of another group moves by more", entry.words);
    }
  }

  void link(int k) {
    const proto::TestLink& one = r_.setup().links(k);
    const Observed* joined = r_.find(Purpose::kLink, -1, k);
    const int input =
        static_cast<int>(std::ranges::find(r_.setup().inputs(), one.channel(), &proto::TestInput::channel) -
                         r_.setup().inputs().begin());
    const Observed* own = r_.find(Purpose::kHigh, input);
    const auto zero = r_.zero_volts(input, false);
    double share = NAN;
    if (joined != nullptr && own != nullptr && zero && r_.mapped(input)) {
      const double full = r_.volts(*own, r_.channel_of(input)) - *zero;
      share = (r_.volts(*joined, r_.channel_of(input)) - *zero) / full;
    }
    const double loop = r_.setup().strong_ohm() + input_ohm(r_.setup().inputs(input), r_.ground_ohm(input));
    const double ohm = loop / share - loop;
    const double u = loop * r_.inl_v() / 4 / r_.expected_lift(input, Purpose::kHigh);
    const bool open = share < 0.05;
    proto::TestItem& item =
        add_item(report_, "link", one.name(), open ? proto::TEST_OUTCOME_FAIL : decide(ohm, u, kLinkOhmMost));
    fill(item, open ? "open" : fmt::format("{:.0f} ohm", std::abs(ohm) < 0.5 ? 0.0 : ohm),
         fmt::format("{:.0f} ohm", kLinkOhmMost), "straight through, wiring.md; own choice",
         open                 ? "does not pass straight through: a wire of the jig opens it, or the loop plug is not in"
         : std::isfinite(ohm) ? "passes through something"
                              : "could not be told: see the map of the channel it comes back to");
  }

  void skew() {
    std::vector<std::pair<int, double>> instants;
    const Observed* off = r_.find(Purpose::kOff);
    const Observed* step = r_.find(Purpose::kStep);
    const double scan_s = 1 / r_.jig().scan_rate_hz();
    for (int i = 0; off != nullptr && step != nullptr && i < r_.setup().inputs_size(); ++i) {
      const std::size_t channel = r_.channel_of(i);
      const auto seen = std::ranges::find(r_.seen().steps, channel, &StepSeen::channel);
      const double from = off->mean_code[channel];
      const double height = step->mean_code[channel] - from;
      if (seen == r_.seen().steps.end() || !(std::abs(height) > 100)) continue;
      std::vector<double> constants;
      for (const double hz : r_.jig().at(channel)->pole_hz) constants.push_back(1 / (2 * M_PI * hz));
      const auto instant = step_instant(seen->scan_before, (seen->code_before - from) / height,
                                        (seen->code_after - from) / height, scan_s, constants);
      if (instant) instants.emplace_back(i, *instant);
    }
    std::vector<double> sorted;
    for (const auto& [input, instant] : instants) sorted.push_back(instant);
    std::ranges::sort(sorted);
    for (int i = 0; i < r_.setup().inputs_size(); ++i) {
      const auto found = std::ranges::find(instants, i, &std::pair<int, double>::first);
      const double late = found == instants.end() ? NAN : (found->second - sorted[sorted.size() / 2]) * scan_s;
      double constants = 0;
      for (const double hz : r_.jig().at(r_.channel_of(i))->pole_hz) constants += 1 / (2 * M_PI * hz);
      const double allowed = 2 * r_.setup().capacitor_tolerance() * constants + kSkewOwnS;
      proto::TestItem& item =
          add_item(report_, "skew", r_.setup().inputs(i).channel(), decide(late, kSkewOwnS / 2, allowed));
      fill(item, std::isfinite(late) ? fmt::format("{:+.1f} us", late * 1e6) : "none",
           fmt::format("{:.1f} us", allowed * 1e6), "capacitors' tolerance, both poles; 1 us of the fit",
           std::isfinite(late)
               ? "later or earlier than the others: another converter's clock, a multiplexer, a wrong capacitor"
               : "the step was not seen");
    }
  }

  void clock() {
    const double ppm = r_.seen().clock ? r_.seen().clock->ppm : NAN;
    const double u = r_.seen().clock ? r_.seen().clock->uncertainty_ppm : NAN;
    proto::TestItem& item =
        add_item(report_, "sample-clock", "all channels", decide(ppm, u, r_.setup().clock_ppm_max()));
    fill(item, r_.seen().clock ? fmt::format("{:+.0f} +- {:.0f} ppm", ppm, u) : "none",
         fmt::format("{:.0f} ppm", r_.setup().clock_ppm_max()),
         "clock_ppm_max of the setup, against this computer's clock",
         r_.seen().clock ? "the jig's crystal, its clock tree, or this computer's clock" : "too few time marks");
  }

  const Readings& r_;
  proto::SelfTestReport& report_;
};

}  // namespace

void check_signals(const Readings& readings, proto::SelfTestReport& report) {
  SignalChecks(readings, report).run();
}

}  // namespace host::selftest
