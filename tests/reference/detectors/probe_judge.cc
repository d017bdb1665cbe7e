// SPDX-License-Identifier: Apache-2.0
// The arithmetic of judgement, and the distributions below it, as the other program may ask for them.
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>

#include "host/judge/decision.h"
#include "host/judge/uncertainty.h"
#include "host/judge/under_read.h"
#include "tests/reference/detectors/probe_request.h"

namespace reference {
namespace {

using namespace host;

judge::Side side_of(double number) {
  return number > 0 ? judge::Side::kHigh : judge::Side::kLow;
}

model::Microvolts microvolts(double number) {
  return model::Microvolts{static_cast<std::int32_t>(number)};
}

// High side (0, 1), value, U, under-read, noise extreme, under-read unbounded (0, 1), limit.
JsonObject decision(const Request& request) {
  const auto& n = request.numbers;
  const judge::Reading reading{.value = microvolts(n.at(1)),
                               .expanded = microvolts(n.at(2)),
                               .under_read = microvolts(n.at(3)),
                               .noise_extreme = microvolts(n.at(4)),
                               .under_read_unbounded = n.at(5) > 0};
  switch (judge::guard_banded(side_of(n.at(0)), reading, microvolts(n.at(6)))) {
    case steadyrail::proto::DECISION_PASS:
      return JsonObject().word("decision", "pass");
    case steadyrail::proto::DECISION_FAIL:
      return JsonObject().word("decision", "fail");
    case steadyrail::proto::DECISION_UNDECIDED:
      return JsonObject().word("decision", "undecided");
    default:
      return JsonObject().word("decision", "another");
  }
}

// High side (0, 1), value, limit, u.
JsonObject nonconforming(const Request& request) {
  const auto& n = request.numbers;
  return JsonObject().number("value", judge::probability_nonconforming(side_of(n.at(0)), n.at(1), n.at(2), n.at(3)));
}

// Scan rate; poles, widths.
JsonObject worst_fractions(const Request& request) {
  const judge::UnderRead chain(request.arrays.at(0), request.numbers.at(0));
  std::vector<double> fractions;
  for (const double width : request.arrays.at(1)) fractions.push_back(chain.worst_fraction(width));
  return JsonObject().numbers("values", fractions);
}

JsonObject noise_sigmas(const Request& request) {
  return JsonObject().number("value", judge::noise_extreme_sigmas(request.numbers.at(0)));
}

// Coverage, degrees of freedom.
JsonObject student(const Request& request) {
  return JsonObject().number("value", judge::student_factor(request.numbers.at(0), request.numbers.at(1)));
}

// Standard uncertainties, their degrees of freedom.
JsonObject dof(const Request& request) {
  std::vector<judge::Component> components;
  for (std::size_t i = 0; i < request.arrays.at(0).size(); ++i)
    components.push_back({request.arrays[0][i], request.arrays.at(1).at(i)});
  return JsonObject().number("value", judge::effective_dof(components));
}

// Probability, degrees of freedom where there are any.
JsonObject normal_quantile(const Request& request) {
  return JsonObject().number("value", quantile(boost::math::normal(), request.numbers.at(0)));
}

JsonObject t_quantile(const Request& request) {
  return JsonObject().number("value", quantile(boost::math::students_t(request.numbers.at(1)), request.numbers.at(0)));
}

JsonObject chi2_quantile(const Request& request) {
  return JsonObject().number("value", quantile(boost::math::chi_squared(request.numbers.at(1)), request.numbers.at(0)));
}

}  // namespace

std::optional<JsonObject> answer_judge(const Request& request) {
  if (request.word == "decision") return decision(request);
  if (request.word == "nonconforming") return nonconforming(request);
  if (request.word == "worst_fractions") return worst_fractions(request);
  if (request.word == "noise_sigmas") return noise_sigmas(request);
  if (request.word == "student") return student(request);
  if (request.word == "dof") return dof(request);
  if (request.word == "normal_quantile") return normal_quantile(request);
  if (request.word == "t_quantile") return t_quantile(request);
  if (request.word == "chi2_quantile") return chi2_quantile(request);
  return std::nullopt;
}

}  // namespace reference
