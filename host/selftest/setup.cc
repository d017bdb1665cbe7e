// SPDX-License-Identifier: Apache-2.0
#include "host/selftest/setup.h"

#include <fmt/format.h>

#include <cmath>
#include <set>

namespace host::selftest {
namespace {

namespace proto = steadyrail::proto;

constexpr std::uint32_t kFirstLink = 24;
constexpr std::uint32_t kLastLink = 31;
constexpr double kCodes = 65536;
constexpr int kLevelsLeast = 3;
constexpr int kLevelsMost = 8;

class Check {
 public:
  Check(const proto::TestSetup& setup, const model::Jig& jig, const model::Place& place)
      : setup_(setup), jig_(jig), place_(place) {}

  model::TextErrors run() {
    if (setup_.jig() != jig_.description().id()) {
      add(place_.error("jig", fmt::format("for jig {}, not for {}", setup_.jig(), jig_.description().id())));
    }
    levels();
    positive(place_, "strong_ohm", setup_.strong_ohm());
    positive(place_, "weak_ohm", setup_.weak_ohm());
    if (!(setup_.weak_ohm() > 2 * setup_.strong_ohm())) {
      add(place_.error("weak_ohm", "weak_ohm must be more than twice strong_ohm to tell resistances by"));
    }
    positive(place_, "source_tolerance", setup_.source_tolerance());
    positive(place_, "part_tolerance", setup_.part_tolerance());
    positive(place_, "tie_ohm", setup_.tie_ohm());
    positive(place_, "converter_full_scale_v", setup_.converter_full_scale_v());
    positive(place_, "converter_offset_v", setup_.converter_offset_v());
    positive(place_, "converter_inl_codes", setup_.converter_inl_codes());
    positive(place_, "clamp_leakage_a", setup_.clamp_leakage_a());
    positive(place_, "capacitor_tolerance", setup_.capacitor_tolerance());
    positive(place_, "clock_ppm_max", setup_.clock_ppm_max());
    inputs();
    links();
    return std::move(errors_);
  }

 private:
  void add(model::TextError error) { errors_.push_back(std::move(error)); }

  void positive(const model::Place& at, std::string_view field, double value) {
    if (!(std::isfinite(value) && value > 0)) add(at.error(field, fmt::format("{} must be above 0", field)));
  }

  void levels() {
    bool sound =
        setup_.level_v_size() >= kLevelsLeast && setup_.level_v_size() <= kLevelsMost && setup_.level_v(0) == 0;
    for (int k = 1; k < setup_.level_v_size(); ++k) {
      sound = sound && std::isfinite(setup_.level_v(k)) && setup_.level_v(k) > setup_.level_v(k - 1);
    }
    if (!sound) add(place_.error("level_v", "level_v are three to eight voltages, rising from 0"));
  }

  void inputs() {
    std::set<std::string> seen;
    if (setup_.inputs().empty()) add(place_.error("the setup has no inputs"));
    for (int i = 0; i < setup_.inputs_size(); ++i) {
      const proto::TestInput& input = setup_.inputs(i);
      const model::Place at = place_.nested("inputs", i);
      known(at, input.channel());
      if (!seen.insert(input.channel()).second) {
        add(at.error("channel", fmt::format("channel {} is there twice", input.channel())));
      }
      positive(at, "upper_ohm", input.upper_ohm());
      positive(at, "lower_ohm", input.lower_ohm());
      if (!(input.bleed_ohm() >= 0)) add(at.error("bleed_ohm", "bleed_ohm must be 0 or more"));
      if (!(input.attenuation() >= 0 && input.attenuation() < 1)) {
        add(at.error("attenuation", "attenuation is a share of the level, below 1"));
      }
    }
  }

  void links() {
    std::set<std::uint32_t> seen;
    for (int i = 0; i < setup_.links_size(); ++i) {
      const proto::TestLink& link = setup_.links(i);
      const model::Place at = place_.nested("links", i);
      if (link.output() < kFirstLink || link.output() > kLastLink || !seen.insert(link.output()).second) {
        add(at.error("output",
                     fmt::format("output {} is taken, or not from {} to {}", link.output(), kFirstLink, kLastLink)));
      }
      known(at, link.channel());
      const bool reached = std::ranges::any_of(
          setup_.inputs(), [&](const proto::TestInput& input) { return input.channel() == link.channel(); });
      if (!reached) add(at.error("channel", fmt::format("link to {}, whose tap is no input here", link.channel())));
    }
  }

  void known(const model::Place& at, const std::string& channel) {
    if (jig_.find(channel) == nullptr) add(at.error("channel", fmt::format("the jig has no channel {}", channel)));
  }

  const proto::TestSetup& setup_;
  const model::Jig& jig_;
  const model::Place& place_;
  model::TextErrors errors_;
};

}  // namespace

std::expected<proto::TestSetup, model::TextErrors> setup_from_text(std::string_view text, std::string_view file,
                                                                   const model::Jig& jig) {
  proto::TestSetup setup;
  google::protobuf::TextFormat::ParseInfoTree tree;
  if (auto parsed = model::parse_text(text, file, setup, &tree); !parsed) return std::unexpected(parsed.error());
  const model::Place place(file, *proto::TestSetup::descriptor(), &tree);
  model::TextErrors errors = Check(setup, jig, place).run();
  if (!errors.empty()) return std::unexpected(std::move(errors));
  return setup;
}

char group_of(const model::Jig& jig, std::size_t channel) {
  for (const proto::Channel& described : jig.description().channels()) {
    if (described.index() == channel && !described.input().empty()) return described.input()[0];
  }
  return '?';
}

double converter_volts(const proto::TestSetup& setup, double code) {
  return setup.converter_full_scale_v() * (code + kCodes / 2) / kCodes;
}

}  // namespace host::selftest
