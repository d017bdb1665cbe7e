// SPDX-License-Identifier: Apache-2.0
// A jig description, checked for contradictions and ready for arithmetic.
#pragma once

#include <array>
#include <cstdint>
#include <expected>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "host/model/text.h"
#include "jig.pb.h"
#include "proto/wire/window.h"

namespace host::model {

/// One channel as a reader of its codes needs it. Values are V, or A for a current channel.
struct JigChannel {
  std::size_t index = 0;
  std::string name;
  steadyrail::proto::ChannelKind kind = steadyrail::proto::CHANNEL_KIND_UNKNOWN;
  steadyrail::proto::Rail rail = steadyrail::proto::RAIL_UNKNOWN;
  std::string rail_label;  // "+12V"; empty where there is no rail
  std::string connector;
  std::vector<double> pole_hz;
  std::optional<std::size_t> current;  // channel that carries this connector's current
  std::optional<std::size_t> ground;   // ground-offset channel of its group
  double noise_rms = 0;                // V or A of one sample
  bool calibrated = false;
  std::string calibration_lack = "channel not calibrated";  // why it decides nothing; empty where it is calibrated
  double per_code = 0;                                      // calibrated: value = per_code * code + at_code_0
  double at_code_0 = 0;
  double gain = 1;    // of the calibration, applied to the nominal value; already inside per_code and at_code_0
  double offset = 0;  // V or A
  double u_gain = 0;  // standard uncertainties of the calibration fit
  double u_offset = 0;
  double correlation = 0;
  double u_other = 0;
  double effective_dof = 0;          // of the fit; 0: large
  std::optional<double> burden_ohm;  // current channel: the jig in series with its connector, as calibrated
  double u_burden_ohm = 0;
  double u_converter = 0;  // parts of u_other
  double u_temperature = 0;
  double u_age = 0;

  double value(double code) const { return per_code * code + at_code_0; }
  double code(double value_at_connector) const { return (value_at_connector - at_code_0) / per_code; }
  /// How much later than at the connector a slow change shows: the sum of the chain's time constants.
  double delay_s() const;
  /// What the connector would read by the nominal scale: the variable of the calibration's fit.
  double nominal(double value_at_connector) const { return (value_at_connector - offset) / gain; }
};

class Jig {
 public:
  /// Reads and checks a description. Errors: syntax, and every contradiction with its place: two channels on one input
  /// or one name, an index beyond 23, a divider that clips inside the limits of its rail, a current or ground channel
  /// that is none, missing poles, a scan rate of 0, a calibration for a channel that is not there or twice for one.
  static std::expected<Jig, TextErrors> from_text(std::string_view text, std::string_view file);
  /// The same checks on a description found in a recording; complaints carry no place.
  static std::expected<Jig, TextErrors> from_description(const steadyrail::proto::JigDescription& description,
                                                         std::string_view file);

  const steadyrail::proto::JigDescription& description() const { return description_; }
  const std::vector<JigChannel>& channels() const { return channels_; }  // ascending index; gaps are unused inputs
  const JigChannel* find(std::string_view name) const;                   // nullptr: none of that name
  const JigChannel* at(std::size_t index) const {                        // nullptr: unused
    return index < places_.size() && places_[index] != kUnused ? &channels_[places_[index]] : nullptr;
  }
  double scan_rate_hz() const { return description_.scan_rate_hz(); }
  /// From now on no channel counts as calibrated, with this reason. Scales and uncertainties stay as they are.
  void distrust(const std::string& reason);
  const std::string& doubt() const { return doubt_; }  // that reason; empty: none

 private:
  explicit Jig(steadyrail::proto::JigDescription description);

  steadyrail::proto::JigDescription description_;
  std::vector<JigChannel> channels_;
  std::string doubt_;
  static constexpr std::uint8_t kUnused = 0xFF;
  std::array<std::uint8_t, wire::kChannelCount> places_;  // in channels_, by index
};

/// Every contradiction of a description, placed by `place`; empty when it is sound.
TextErrors contradictions(const steadyrail::proto::JigDescription& description, const Place& place);

/// "+12V" and so on; empty for RAIL_UNKNOWN.
std::string_view rail_label(steadyrail::proto::Rail rail);
/// Nominal voltage of a rail; 0 for RAIL_UNKNOWN.
double rail_nominal_v(steadyrail::proto::Rail rail);

}  // namespace host::model
