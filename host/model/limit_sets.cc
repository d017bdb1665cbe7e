// SPDX-License-Identifier: Apache-2.0
#include "host/model/limit_sets.h"

#include <fmt/format.h>

#include <cmath>
#include <set>
#include <utility>

#include "host/model/jig.h"
#include "host/model/named_text.h"
#include "host/model/timing_check.h"
#include "host/model/transient_check.h"

namespace host::model {
namespace {

using steadyrail::proto::ExcursionRow;
using steadyrail::proto::LimitSet;
using steadyrail::proto::Rail;
using steadyrail::proto::RegulationLimit;
using steadyrail::proto::RequiredCoverage;
using steadyrail::proto::RippleLimit;

// No published ripple comes near a volt: a larger figure is a slip of unit.
constexpr std::int64_t kRippleMostUv = 1000000;
// A limit further from its rail's nominal than this is a slip of unit or of rail; no published tolerance comes near.
constexpr double kShareOfNominalMost = 0.3;

class Check {
 public:
  Check(const LimitSet& limits, const Place& place) : limits_(limits), place_(place) {}

  TextErrors run() {
    if (limits_.edition().empty()) add(place_.error("edition", "the edition has no name"));
    if (limits_.title().empty()) add(place_.error("title", "the edition has no title"));
    if (limits_.document().empty()) add(place_.error("document", "the edition names no document"));
    if (limits_.regulation_size() == 0) add(place_.error("the edition holds no limits"));
    for (int i = 0; i < limits_.regulation_size(); ++i) {
      const Place at = place_.nested("regulation", i);
      values(limits_.regulation(i), at);
      origin(limits_.regulation(i), at);
      once(limits_.regulation(i), at);
    }
    coverage();
    for (int i = 0; i < limits_.excursion_size(); ++i) excursion(i, place_.nested("excursion", i));
    for (int i = 0; i < limits_.ripple_size(); ++i) ripple(limits_.ripple(i), place_.nested("ripple", i));
    for (TextError& error : timing_contradictions(limits_, place_)) add(std::move(error));
    for (TextError& error : transient_contradictions(limits_, place_)) add(std::move(error));
    return std::move(errors_);
  }

 private:
  void add(TextError error) { errors_.push_back(std::move(error)); }

  void values(const RegulationLimit& row, const Place& at) {
    if (row.rail() == steadyrail::proto::RAIL_UNKNOWN) {
      add(at.error("rail", "a limit names no rail"));
      return;
    }
    if (row.least_uv() >= row.most_uv()) {
      add(at.error("least_uv", fmt::format("least {} uV is not below most {} uV", row.least_uv(), row.most_uv())));
    }
    const std::pair<std::string_view, std::int64_t> fields[] = {
        {"least_uv", row.least_uv()}, {"most_uv", row.most_uv()}, {"nominal_uv", row.nominal_uv()}};
    const double nominal = rail_nominal_v(row.rail()) * 1e6;
    for (const auto& [field, value] : fields) {
      if (std::abs(static_cast<double>(value) - nominal) <= kShareOfNominalMost * std::abs(nominal)) continue;
      add(at.error(field, fmt::format("{} {} uV is no value of {}", field, value, rail_label(row.rail()))));
    }
    if (row.nominal_uv() < row.least_uv() || row.nominal_uv() > row.most_uv()) {
      add(at.error("nominal_uv", "nominal does not lie between least and most"));
    }
  }

  void ripple(const RippleLimit& row, const Place& at) {
    if (row.rail() == steadyrail::proto::RAIL_UNKNOWN) add(at.error("rail", "a limit names no rail"));
    if (row.most_uv() <= 0 || row.most_uv() > kRippleMostUv) {
      add(at.error("most_uv",
                   fmt::format("most_uv {} is no ripple between 0 and {} uV", row.most_uv(), kRippleMostUv)));
    }
    origin(row, at);
    if (ripple_seen_.insert(row.rail()).second) return;
    add(at.error("rail", fmt::format("{} has two ripple limits", rail_label(row.rail()))));
  }

  template <typename Row>
  void origin(const Row& row, const Place& at) {
    if (row.output().empty()) add(at.error("output", "a limit does not say how its document prints the output"));
    if (row.table().empty()) add(at.error("table", "a limit names no table"));
    if (row.source().empty()) add(at.error("source", "a limit names no source"));
    if (row.status() == steadyrail::proto::LIMIT_STATUS_UNKNOWN) {
      add(at.error("status", "a limit does not say whether it was read, secondary or from memory"));
    }
  }

  void once(const RegulationLimit& row, const Place& at) {
    if (row.connectors().empty()) taken(row.rail(), {}, at);
    for (const std::string& connector : row.connectors()) taken(row.rail(), connector, at);
  }

  void taken(Rail rail, const std::string& connector, const Place& at) {
    if (seen_.emplace(rail, connector).second) return;
    add(at.error("rail", fmt::format("{} has two limits {}", rail_label(rail),
                                     connector.empty() ? "for every connector" : "at " + connector)));
  }

  void coverage() {
    if (!limits_.has_required()) {
      add(place_.error("required", "the edition does not say what coverage a verdict needs"));
      return;
    }
    const RequiredCoverage& required = limits_.required();
    const Place at = place_.nested("required");
    if (!(required.scans_share() > 0 && required.scans_share() <= 1)) {
      add(at.error("scans_share",
                   fmt::format("scans_share {} is not a share above 0, at most 1", required.scans_share())));
    }
    if (!(required.settled_mean_s() > 0 && std::isfinite(required.settled_mean_s()))) {
      add(at.error("settled_mean_s", "settled_mean_s must be above 0"));
    }
    if (required.steps_each_way() == 0) add(at.error("steps_each_way", "steps_each_way must be above 0"));
  }

  void excursion(int index, const Place& at) {
    const ExcursionRow& row = limits_.excursion(index);
    if (!(row.duration_s() > 0)) add(at.error("duration_s", "duration_s must be above 0"));
    if (!(row.percent_small() >= 100 && row.percent_small() <= 300)) {
      add(at.error("percent_small", "percent_small is not between 100 and 300"));
    }
    if (!(row.percent_large() >= row.percent_small() && row.percent_large() <= 300)) {
      add(at.error("percent_large", "percent_large is not between percent_small and 300"));
    }
    if (row.source().empty()) add(at.error("source", "an excursion row names no source"));
    if (row.status() == steadyrail::proto::LIMIT_STATUS_UNKNOWN) {
      add(at.error("status", "an excursion row does not say whether it was read, secondary or from memory"));
    }
    if (index == 0) return;
    const ExcursionRow& before = limits_.excursion(index - 1);
    if (!(row.duration_s() > before.duration_s())) add(at.error("duration_s", "durations must rise from row to row"));
    if (row.percent_small() > before.percent_small() || row.percent_large() > before.percent_large()) {
      add(at.error("an excursion may not grow with its duration"));
    }
  }

  const LimitSet& limits_;
  const Place& place_;
  TextErrors errors_;
  std::set<std::pair<Rail, std::string>> seen_;
  std::set<Rail> ripple_seen_;
};

}  // namespace

TextErrors contradictions(const LimitSet& limits, const Place& place) {
  return Check(limits, place).run();
}

std::expected<LimitSet, TextErrors> limits_from_text(std::string_view text, std::string_view file) {
  LimitSet limits;
  google::protobuf::TextFormat::ParseInfoTree tree;
  if (auto parsed = parse_text(text, file, limits, &tree); !parsed) return std::unexpected(parsed.error());
  TextErrors errors = contradictions(limits, Place(file, *limits.GetDescriptor(), &tree));
  if (!errors.empty()) return std::unexpected(std::move(errors));
  return limits;
}

std::expected<LimitEdition, TextErrors> load_limits(const std::string& name_or_path) {
  auto named = named_text("limits", name_or_path);
  if (!named) return std::unexpected(std::move(named.error()));
  auto set = limits_from_text(named->text, named->file);
  if (!set) return std::unexpected(std::move(set.error()));
  return LimitEdition{std::move(*set), std::move(named->file), std::move(named->text)};
}

}  // namespace host::model
