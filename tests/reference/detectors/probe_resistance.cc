// SPDX-License-Identifier: Apache-2.0
// Resistances and ripple as the other program may ask for them.
#include <algorithm>
#include <cmath>
#include <memory>
#include <stdexcept>

#include "host/detect/block_maker.h"
#include "host/detect/contact.h"
#include "host/detect/output_resistance.h"
#include "host/detect/ripple_bound.h"
#include "host/detect/robust_fit.h"
#include "host/detect/theil_sen.h"
#include "host/judge/cable_ohm.h"
#include "tests/reference/detectors/probe_request.h"

namespace reference {
namespace {

using namespace host;

JsonObject slopes(const Request& request) {
  const auto line = detect::theil_sen(request.arrays.at(0), request.arrays.at(1), detect::kLeastPairA);
  if (!line) return JsonObject();
  return JsonObject()
      .number("ohm", -line->slope)
      .number("low_ohm", -line->high)
      .number("high_ohm", -line->low)
      .number("open_v", line->intercept)
      .number("pairs", static_cast<double>(line->pairs));
}

// y, then a column each.
JsonObject robust(const Request& request) {
  const std::vector<std::vector<double>> columns(request.arrays.begin() + 1, request.arrays.end());
  const auto fit = detect::robust_fit(columns, request.arrays.at(0));
  if (!fit) return JsonObject();
  return JsonObject()
      .number("constant", fit->constant)
      .numbers("slopes", fit->slopes)
      .number("condition", detect::condition_number(columns));
}

// Bound of the offset; y, A's current, B's.
JsonObject contact(const Request& request) {
  const auto& arrays = request.arrays;
  const auto fit = detect::fit_contact(arrays.at(0), arrays.at(1), arrays.at(2), request.numbers.at(0));
  if (!fit) return JsonObject();
  JsonObject answer = JsonObject().number("a_ohm", fit->a_ohm).number("offset_v", fit->offset_v);
  if (fit->b_ohm) answer.number("b_ohm", *fit->b_ohm);
  return answer;
}

JsonObject wire(const Request& request) {
  const auto ohm = judge::wire_ohm_per_m(static_cast<std::uint32_t>(request.numbers.at(0)));
  return JsonObject().number("value", ohm.value_or(-1) * judge::copper_factor(request.numbers.at(1)));
}

JsonObject range_sigmas(const Request& request) {
  return JsonObject().number("value", detect::range_sigmas(request.numbers.at(0)));
}

JsonObject least_ripple(const Request& request) {
  return JsonObject().number("value", detect::least_ripple(request.numbers.at(0), request.numbers.at(1)));
}

JsonObject alias(const Request& request) {
  return JsonObject().number("value", detect::alias_hz(request.numbers.at(0), request.numbers.at(1)));
}

/// One +12 V channel of 0.3 mV a code and nothing else.
model::Jig one_rail(double noise_codes) {
  steadyrail::proto::JigDescription description;
  description.set_id("one-rail");
  description.set_scan_rate_hz(32000);
  auto* channel = description.add_channels();
  channel->set_name("rail");
  channel->set_kind(steadyrail::proto::CHANNEL_KIND_RAIL_VOLTAGE);
  channel->set_rail(steadyrail::proto::RAIL_P12V);
  channel->set_connector("main");
  channel->set_input("m.0");
  channel->set_unit_per_code(3e-4);
  channel->set_unit_at_code_0(9.8);
  channel->add_pole_hz(14200);
  channel->set_noise_code_rms(noise_codes);
  auto jig = model::Jig::from_description(description, "one rail");
  if (!jig) throw std::runtime_error(jig.error().front().to_string());
  return *std::move(jig);
}

// Scans of a window, noise in codes; whole codes.
JsonObject ripple(const Request& request) {
  const auto scans = static_cast<std::size_t>(request.numbers.at(0));
  const auto& codes = request.arrays.at(0);
  const model::Jig jig = one_rail(request.numbers.at(1));
  detect::BlockMaker maker(jig, nullptr, nullptr);
  detect::RippleWatch watch(jig);
  auto decoded = std::make_unique<wire::DecodedWindows>();
  for (std::size_t at = 0; at + scans * wire::kWindowsPerBlock <= codes.size(); at += scans * wire::kWindowsPerBlock) {
    *decoded = wire::DecodedWindows{};
    decoded->window_count = wire::kWindowsPerBlock;
    for (std::size_t w = 0; w < wire::kWindowsPerBlock; ++w) {
      const std::span<const double> window(codes.data() + at + w * scans, scans);
      const auto [least, most] = std::ranges::minmax(window);
      double sum = 0;
      for (const double code : window) sum += code;
      decoded->channels[0].min[w] = static_cast<std::int16_t>(least);
      decoded->channels[0].max[w] = static_cast<std::int16_t>(most);
      decoded->channels[0].mean_8[w] = static_cast<std::int32_t>(std::lround(8 * sum / static_cast<double>(scans)));
    }
    watch.add(maker.make({.first_scan = at,
                          .scans_per_window = static_cast<std::uint32_t>(scans),
                          .window_count = wire::kWindowsPerBlock,
                          .windows = decoded.get()}));
  }
  steadyrail::proto::SessionResult result;
  watch.write(nullptr, result);
  const auto& row = result.ripple_bounds(0);
  return JsonObject()
      .number("median_pp", row.median_pp())
      .number("most_pp", row.most_pp())
      .number("noise_pp", row.noise_pp())
      .number("value", row.value())
      .number("windows", row.windows_read())
      .number("residue", row.has_mains_residue() ? row.mains_residue() : 0)
      .number("mains_hz", row.mains_hz());
}

}  // namespace

std::optional<JsonObject> answer_resistance(const Request& request) {
  if (request.word == "slopes") return slopes(request);
  if (request.word == "robust") return robust(request);
  if (request.word == "contact") return contact(request);
  if (request.word == "wire") return wire(request);
  if (request.word == "range_sigmas") return range_sigmas(request);
  if (request.word == "least_ripple") return least_ripple(request);
  if (request.word == "alias") return alias(request);
  if (request.word == "ripple") return ripple(request);
  return std::nullopt;
}

}  // namespace reference
