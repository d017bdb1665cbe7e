// SPDX-License-Identifier: Apache-2.0
// What a jig description may not say.
#include <fmt/format.h>

#include <cmath>
#include <map>

#include "host/model/jig.h"
#include "host/model/jig_budget.h"

namespace host::model {
namespace {

using steadyrail::proto::Channel;
using steadyrail::proto::ChannelCalibration;
using steadyrail::proto::ChannelKind;
using steadyrail::proto::JigDescription;
using steadyrail::proto::Rail;

constexpr std::uint32_t kChannelsPerConverter = 8;
// What the jig's load sequencer takes (proto/wire.md): gates, and the most of a branch.
constexpr std::uint32_t kGates = 8;
constexpr double kBranchAmpsMost = 100;
constexpr double kOnTimeSMost = 600;

// The jig's greeting carries these names in fields of fixed size (proto/link.options), ending zero included.
constexpr std::size_t kJigIdBytesMax = 15;
constexpr std::size_t kCalibrationIdBytesMax = 23;
constexpr std::size_t kChannelNameBytesMax = 23;

// A code within this share of full scale is a flag, not a value: the last half per cent is the clamps' and drift's.
constexpr double kUsableShare = 0.995;
constexpr double kCodeLeast = -32768;
constexpr double kCodeMost = 32767;
// Outputs count as fed back from outside above 0.1 V with mains off (hardware-notes/safety.md); half of that must read.
constexpr double kReadsDownToV = 0.05;
// A correction beyond this is a wrong divider, not a calibration.
constexpr double kGainLeast = 0.8;
constexpr double kGainMost = 1.25;

// What a divider must still read: the top of the over-voltage protection window, so that a trip is seen as a value.
// +12, +5, +3.3: ATX Power Supply Design Guide v0.9, Table 11 (15.6, 7.0, 4.3 V), read in a copy of the page.
// +5VSB: as +5, from memory. -12: no window published; 120 % of nominal, our own rule.
struct Span {
  double least_v;
  double most_v;
};
Span span_to_read(Rail rail) {
  switch (rail) {
    case steadyrail::proto::RAIL_P12V:
      return {kReadsDownToV, 15.6};
    case steadyrail::proto::RAIL_P5V:
      return {kReadsDownToV, 7.0};
    case steadyrail::proto::RAIL_P3V3:
      return {kReadsDownToV, 4.3};
    case steadyrail::proto::RAIL_M12V:
      return {-14.4, -kReadsDownToV};
    case steadyrail::proto::RAIL_P5VSB:
      return {kReadsDownToV, 7.0};
    default:
      return {0, 0};
  }
}

std::string_view kind_word(ChannelKind kind) {
  switch (kind) {
    case steadyrail::proto::CHANNEL_KIND_RAIL_VOLTAGE:
      return "a rail voltage";
    case steadyrail::proto::CHANNEL_KIND_CURRENT:
      return "a current";
    case steadyrail::proto::CHANNEL_KIND_LOGIC:
      return "a logic signal";
    case steadyrail::proto::CHANNEL_KIND_GROUND_OFFSET:
      return "a ground offset";
    case steadyrail::proto::CHANNEL_KIND_AC_PRESENT:
      return "the AC-present signal";
    case steadyrail::proto::CHANNEL_KIND_AUXILIARY:
      return "an auxiliary input";
    default:
      return "of no known kind";
  }
}

class Check {
 public:
  Check(const JigDescription& description, const Place& place) : description_(description), place_(place) {}

  TextErrors run() {
    whole();
    for (int i = 0; i < description_.channels_size(); ++i) {
      const Channel& channel = description_.channels(i);
      const Place at = place_.nested("channels", i);
      const std::size_t complaints = errors_.size();
      unique(channel, at);
      if (errors_.size() == complaints) wired(channel, at);  // one slip, one complaint
      scale(channel, at);
      span(channel, at);
      references(channel, at);
    }
    calibration();
    lines();
    load_bank();
    return std::move(errors_);
  }

 private:
  void add(TextError error) { errors_.push_back(std::move(error)); }

  void whole() {
    if (description_.id().empty()) add(place_.error("id", "the jig has no id"));
    if (description_.id().size() > kJigIdBytesMax) {
      add(place_.error("id", fmt::format("id is longer than {} characters", kJigIdBytesMax)));
    }
    if (description_.scan_rate_hz() == 0) add(place_.error("scan_rate_hz", "scan rate is 0 or missing"));
    if (description_.channels_size() == 0) add(place_.error("the jig has no channels"));
  }

  void unique(const Channel& channel, const Place& at) {
    if (channel.name().empty()) add(at.error("name", "a channel has no name"));
    if (channel.name().size() > kChannelNameBytesMax) {
      add(at.error("name", fmt::format("name is longer than {} characters", kChannelNameBytesMax)));
    }
    if (channel.index() >= wire::kChannelCount) {
      add(at.error("index", fmt::format("index {} is beyond {}", channel.index(), wire::kChannelCount - 1)));
    }
    taken(names_, channel.name(), channel, at, "name", "name");
    taken(indices_, channel.index(), channel, at, "index", "index");
    if (channel.input().empty()) {
      add(at.error("input", fmt::format("channel {} names no input", channel.name())));
    } else {
      taken(inputs_, channel.input(), channel, at, "input", "input");
    }
  }

  template <typename Key>
  void taken(std::map<Key, std::string>& seen, const Key& key, const Channel& channel, const Place& at,
             std::string_view field, std::string_view word) {
    const auto [first, fresh] = seen.emplace(key, channel.name());
    if (fresh) return;
    add(at.error(field, fmt::format("{} {} of channel {} is already used by channel {}", word, key, channel.name(),
                                    first->second)));
  }

  /// The scan carries the converters one after the other, eight codes each: the index follows from the soldering.
  void wired(const Channel& channel, const Place& at) {
    const std::string& input = channel.input();
    const bool named = input.size() == 3 && input[0] >= 'a' && input[0] <= 'z' && input[1] == '.' && input[2] >= '0' &&
                       input[2] < '0' + static_cast<char>(kChannelsPerConverter);
    if (!named) {
      add(at.error("input", fmt::format("input {} of channel {} is not written converter.channel: \"m.0\" to \"m.7\"",
                                        input, channel.name())));
      return;
    }
    const std::uint32_t converter = channel.index() / kChannelsPerConverter;
    if (channel.index() % kChannelsPerConverter != static_cast<std::uint32_t>(input[2] - '0') ||
        converters_.emplace(converter, input[0]).first->second != input[0]) {
      add(at.error("input", fmt::format("input {} of channel {} does not belong at index {}: eight to a converter, in "
                                        "the order of its channels",
                                        input, channel.name(), channel.index())));
    }
  }

  void scale(const Channel& channel, const Place& at) {
    if (!std::isfinite(channel.unit_per_code()) || channel.unit_per_code() <= 0) {
      add(at.error("unit_per_code", fmt::format("unit_per_code of channel {} must be above 0", channel.name())));
    }
    if (!std::isfinite(channel.unit_at_code_0())) {
      add(at.error("unit_at_code_0", fmt::format("unit_at_code_0 of channel {} is no number", channel.name())));
    }
    if (!std::isfinite(channel.noise_code_rms()) || channel.noise_code_rms() < 0) {
      add(at.error("noise_code_rms", fmt::format("noise of channel {} must be 0 or more", channel.name())));
    }
    if (channel.pole_hz_size() == 0) {
      add(at.error("pole_hz", fmt::format("channel {} names no pole: short dips could not be judged", channel.name())));
    }
    for (int i = 0; i < channel.pole_hz_size(); ++i) {
      if (std::isfinite(channel.pole_hz(i)) && channel.pole_hz(i) > 0) continue;
      add(at.error("pole_hz", fmt::format("pole of channel {} must be above 0 Hz", channel.name()), i));
    }
  }

  void span(const Channel& channel, const Place& at) {
    if (channel.kind() == steadyrail::proto::CHANNEL_KIND_UNKNOWN) {
      add(at.error("kind", fmt::format("channel {} has no kind", channel.name())));
    }
    if (channel.kind() != steadyrail::proto::CHANNEL_KIND_RAIL_VOLTAGE) return;
    if (channel.rail() == steadyrail::proto::RAIL_UNKNOWN) {
      add(at.error("rail", fmt::format("channel {} is a rail voltage without a rail", channel.name())));
      return;
    }
    const Span need = span_to_read(channel.rail());
    const double lowest = channel.unit_per_code() * kCodeLeast + channel.unit_at_code_0();
    const double width = channel.unit_per_code() * (kCodeMost - kCodeLeast);
    const double highest = lowest + kUsableShare * width;
    if (!(highest >= need.most_v)) {
      add(at.error("unit_per_code", fmt::format("channel {} clips at {:.3f} V, below the {:.2f} V it must read on {}",
                                                channel.name(), highest, need.most_v, rail_label(channel.rail()))));
    }
    if (!(lowest <= need.least_v)) {
      add(at.error("unit_at_code_0", fmt::format("channel {} clips at {:.3f} V, above the {:.2f} V it must read on {}",
                                                 channel.name(), lowest, need.least_v, rail_label(channel.rail()))));
    }
  }

  void references(const Channel& channel, const Place& at) {
    reference(channel, at, "current_channel", channel.current_channel(), steadyrail::proto::CHANNEL_KIND_CURRENT);
    reference(channel, at, "ground_channel", channel.ground_channel(), steadyrail::proto::CHANNEL_KIND_GROUND_OFFSET);
    const Channel* current = find(channel.current_channel());
    if (current != nullptr && current->kind() == steadyrail::proto::CHANNEL_KIND_CURRENT &&
        current->rail() != channel.rail()) {
      add(at.error("current_channel",
                   fmt::format("channel {} is on {}, but {} carries the current of {}", channel.name(),
                               rail_word(channel.rail()), current->name(), rail_word(current->rail()))));
    }
  }

  void reference(const Channel& channel, const Place& at, std::string_view field, const std::string& name,
                 ChannelKind kind) {
    if (name.empty()) return;
    const Channel* other = find(name);
    if (other == nullptr) {
      add(at.error(field, fmt::format("channel {} refers to {}, which is not there", channel.name(), name)));
    } else if (other->kind() != kind) {
      add(at.error(field, fmt::format("channel {} refers to {}, which is {}, not {}", channel.name(), name,
                                      kind_word(other->kind()), kind_word(kind))));
    }
  }

  void calibration() {
    if (!description_.has_calibration()) return;
    const auto& calibration = description_.calibration();
    const Place at = place_.nested("calibration");
    if (calibration.id().empty()) add(at.error("id", "the calibration has no id"));
    if (calibration.id().size() > kCalibrationIdBytesMax) {
      add(at.error("id", fmt::format("calibration id is longer than {} characters", kCalibrationIdBytesMax)));
    }
    if (!calibration.due().empty() && calibration.due() < calibration.date()) {
      add(at.error("due",
                   fmt::format("calibration is due {} but dates from {}", calibration.due(), calibration.date())));
    }
    std::map<std::string, std::string> seen;
    for (int i = 0; i < calibration.channels_size(); ++i) {
      const ChannelCalibration& entry = calibration.channels(i);
      const Place entry_at = at.nested("channels", i);
      if (find(entry.channel()) == nullptr) {
        add(entry_at.error("channel", fmt::format("calibration of {}, which is not there", entry.channel())));
      }
      if (!seen.emplace(entry.channel(), entry.channel()).second) {
        add(entry_at.error("channel", fmt::format("channel {} is calibrated twice", entry.channel())));
      }
      fit(entry, entry_at);
    }
  }

  void fit(const ChannelCalibration& entry, const Place& at) {
    if (!(entry.gain() >= kGainLeast && entry.gain() <= kGainMost)) {
      add(at.error("gain", fmt::format("gain {} of channel {} is beyond {} to {}: not a correction", entry.gain(),
                                       entry.channel(), kGainLeast, kGainMost)));
    }
    if (!std::isfinite(entry.offset())) {
      add(at.error("offset", fmt::format("offset of channel {} is no number", entry.channel())));
    }
    const std::pair<std::string_view, double> widths[] = {{"u_gain", entry.u_gain()},
                                                          {"u_offset", entry.u_offset()},
                                                          {"u_other", entry.u_other()},
                                                          {"burden_ohm", entry.burden_ohm()},
                                                          {"u_burden_ohm", entry.u_burden_ohm()},
                                                          {"u_converter", entry.u_converter()},
                                                          {"u_temperature", entry.u_temperature()},
                                                          {"u_age", entry.u_age()},
                                                          {"effective_dof", entry.effective_dof()}};
    for (const auto& [field, value] : widths) {
      if (std::isfinite(value) && value >= 0) continue;
      add(at.error(field, fmt::format("{} of channel {} must be 0 or more", field, entry.channel())));
    }
    if (!(entry.u_gain() + entry.u_offset() + entry.u_other() > 0)) {
      add(at.error(fmt::format("channel {} claims a calibration without uncertainty", entry.channel())));
    }
    if (std::hypot(entry.u_converter(), entry.u_temperature(), entry.u_age()) > entry.u_other()) {
      add(at.error("u_other", fmt::format("u_other of channel {} is less than the parts it holds", entry.channel())));
    }
    if (!(std::abs(entry.correlation()) <= 1)) {
      add(at.error("correlation", fmt::format("correlation of channel {} is beyond -1 to 1", entry.channel())));
    }
  }

  void lines() {
    const auto& lines = description_.lines();
    const Place at = place_.nested("lines");
    constexpr double kDelayMostS = 1e-3;
    if (!(lines.comparator_delay_s() >= 0 && lines.comparator_delay_s() <= kDelayMostS)) {
      add(at.error("comparator_delay_s", "comparator_delay_s is not between 0 and 1 ms"));
    }
    if (!lines.mains_waveform()) return;
    const std::pair<std::string_view, double> latencies[] = {{"mains_latency_50_s", lines.mains_latency_50_s()},
                                                             {"mains_latency_60_s", lines.mains_latency_60_s()}};
    for (const auto& [field, value] : latencies) {
      // Above half a cycle it is no detector; 0 would say that a loss shows before it has happened.
      if (value > 0 && value <= 10e-3) continue;
      add(at.error(field, fmt::format("{} is not above 0, at most 10 ms", field)));
    }
    if (!(lines.departure_share() > 0 && lines.departure_share() < 1)) {
      add(at.error("departure_share", "departure_share is not a share of the peak"));
    }
  }

  void load_bank() {
    if (!description_.has_load_bank()) return;
    const auto& bank = description_.load_bank();
    const Place at = place_.nested("load_bank");
    const std::pair<std::string_view, double> limits[] = {{"power_w_max", bank.power_w_max()},
                                                          {"energy_j_max", bank.energy_j_max()},
                                                          {"repetition_hz_max", bank.repetition_hz_max()}};
    for (const auto& [field, value] : limits) {
      if (!(std::isfinite(value) && value > 0)) add(at.error(field, fmt::format("{} must be above 0", field)));
    }
    if (bank.branches().empty()) add(at.error("the load bank has no branches"));
    std::map<std::uint32_t, int> gates;
    for (int i = 0; i < bank.branches_size(); ++i) {
      branch(bank.branches(i), at.nested("branches", i));
      if (!gates.emplace(bank.branches(i).gate(), i).second) {
        add(at.nested("branches", i).error("gate", fmt::format("gate {} is there twice", bank.branches(i).gate())));
      }
    }
  }

  void branch(const steadyrail::proto::LoadBankBranch& branch, const Place& at) {
    if (branch.gate() >= kGates) add(at.error("gate", fmt::format("gate {} is beyond {}", branch.gate(), kGates - 1)));
    if (branch.rail() == steadyrail::proto::RAIL_UNKNOWN) {
      add(at.error("rail", fmt::format("gate {} names no rail", branch.gate())));
    }
    if (!(branch.amps() > 0 && branch.amps() <= kBranchAmpsMost)) {
      add(at.error("amps", fmt::format("gate {} draws {:g} A, not above 0 and at most {:g} A", branch.gate(),
                                       branch.amps(), kBranchAmpsMost)));
    }
    if (!(branch.on_time_s_max() > 0 && branch.on_time_s_max() <= kOnTimeSMost)) {
      add(at.error("on_time_s_max",
                   fmt::format("time on of gate {} is not above 0 and at most {:g} s", branch.gate(), kOnTimeSMost)));
    }
    if (branch.current_channel().empty()) return;  // a switch that failed short stays unnoticed: allowed, and said
    const Channel* channel = find(branch.current_channel());
    if (channel == nullptr) {
      add(at.error("current_channel",
                   fmt::format("gate {} names {}, which is not there", branch.gate(), branch.current_channel())));
    } else if (channel->kind() != steadyrail::proto::CHANNEL_KIND_CURRENT) {
      add(at.error("current_channel", fmt::format("gate {} names {}, which is {}", branch.gate(), channel->name(),
                                                  kind_word(channel->kind()))));
    } else if (channel->rail() != branch.rail()) {
      add(at.error("current_channel",
                   fmt::format("gate {} loads {}, but {} carries the current of {}", branch.gate(),
                               rail_word(branch.rail()), channel->name(), rail_word(channel->rail()))));
    }
  }

  const Channel* find(const std::string& name) const {
    for (const Channel& channel : description_.channels()) {
      if (channel.name() == name) return &channel;
    }
    return nullptr;
  }

  static std::string_view rail_word(Rail rail) {
    return rail == steadyrail::proto::RAIL_UNKNOWN ? "no rail" : rail_label(rail);
  }

  const JigDescription& description_;
  const Place& place_;
  TextErrors errors_;
  std::map<std::string, std::string> names_;
  std::map<std::string, std::string> inputs_;
  std::map<std::uint32_t, char> converters_;  // by the place of their eight codes in the scan
  std::map<std::uint32_t, std::string> indices_;
};

}  // namespace

TextErrors contradictions(const JigDescription& description, const Place& place) {
  TextErrors errors = Check(description, place).run();
  for (TextError& error : budget_contradictions(description, place)) errors.push_back(std::move(error));
  return errors;
}

}  // namespace host::model
