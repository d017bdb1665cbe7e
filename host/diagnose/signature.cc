// SPDX-License-Identifier: Apache-2.0
#include "host/diagnose/signature.h"

#include <string>

#include <fmt/format.h>

namespace host::diagnose {
namespace {

namespace proto = steadyrail::proto;
using proto::Signature;

struct Ranked {
  Signature first;
  Signature second;
};

bool above_label(const proto::EventResult& shutdown) {
  return demand(shutdown) == Demand::kAbove;
}

Ranked rank(const proto::EventResult& shutdown, bool mains_watched) {
  const std::string& first = shutdown.first();
  if (first == "mains") return {Signature::SIGNATURE_MAINS_LOSS, Signature::SIGNATURE_SUPPLY_INTERNAL};
  if (first == "+5VSB") return {Signature::SIGNATURE_STANDBY_LOSS, Signature::SIGNATURE_SUPPLY_INTERNAL};
  if (first == "PS_ON#") return {Signature::SIGNATURE_COMMANDED_OFF, Signature::SIGNATURE_UNKNOWN};
  if (first.ends_with("too high")) return {Signature::SIGNATURE_OVER_VOLTAGE, Signature::SIGNATURE_SUPPLY_INTERNAL};
  const Signature inside = mains_watched ? Signature::SIGNATURE_SUPPLY_INTERNAL : Signature::SIGNATURE_MAINS_OR_SUPPLY;
  if (first == "PWR_OK") {
    if (shutdown.rails_held()) return {Signature::SIGNATURE_PWR_OK_ONLY, inside};
    if (above_label(shutdown)) return {Signature::SIGNATURE_OVERLOAD, inside};
    return {inside, Signature::SIGNATURE_OVERLOAD};
  }
  if (first.empty()) return {Signature::SIGNATURE_UNKNOWN, Signature::SIGNATURE_UNKNOWN};
  // A rail fell before PWR_OK did.
  if (above_label(shutdown)) return {Signature::SIGNATURE_OVERLOAD, Signature::SIGNATURE_UNDER_VOLTAGE};
  return {Signature::SIGNATURE_UNDER_VOLTAGE, Signature::SIGNATURE_OVERLOAD};
}

}  // namespace

Demand demand(const proto::EventResult& shutdown) {
  if (!shutdown.has_load_share() || !shutdown.has_load_share_most()) return Demand::kUnknown;
  if (shutdown.load_share() > 1) return Demand::kAbove;
  return shutdown.load_share_most() > 1 ? Demand::kUnclear : Demand::kInside;
}

proto::ShutdownRead read_shutdown(const proto::EventResult& shutdown, bool mains_watched) {
  const auto [first, second] = rank(shutdown, mains_watched);
  proto::ShutdownRead out;
  out.set_at_s(shutdown.start_s());
  out.set_signature(first);
  out.set_runner_up(second);
  if (!shutdown.note().empty()) out.add_facts(shutdown.note());
  out.add_facts(
      shutdown.has_load_share()
          ? fmt::format("of the loads measured just before, the greatest mean of a window was {:.0f} % of the "
                        "label, single samples at most {:.0f} %",
                        100 * shutdown.load_share(), 100 * shutdown.load_share_most())
          : "whether the load was inside the label is not known");
  if (!mains_watched) out.add_facts("no AC-present channel: a loss of mains would not have been told apart");
  return out;
}

proto::Conclusion points_to(Signature signature) {
  switch (signature) {
    case Signature::SIGNATURE_STANDBY_LOSS:
    case Signature::SIGNATURE_OVER_VOLTAGE:
    case Signature::SIGNATURE_UNDER_VOLTAGE:
    case Signature::SIGNATURE_SUPPLY_INTERNAL:
    case Signature::SIGNATURE_PWR_OK_ONLY:
      return proto::CONCLUSION_SUPPLY_FAULTY;
    case Signature::SIGNATURE_OVERLOAD:
      return proto::CONCLUSION_SUPPLY_TOO_SMALL;
    case Signature::SIGNATURE_MAINS_LOSS:
      return proto::CONCLUSION_MAINS;
    default:
      return proto::CONCLUSION_NOT_SHOWN;
  }
}

}  // namespace host::diagnose
