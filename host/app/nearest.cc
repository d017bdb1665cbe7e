// SPDX-License-Identifier: Apache-2.0
#include "host/app/nearest.h"

#include <algorithm>
#include <numeric>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace host::app {
namespace {

/// Levenshtein's distance, two rows of the table at a time.
std::size_t distance(std::string_view from, std::string_view to) {
  std::vector<std::size_t> above(to.size() + 1);
  std::iota(above.begin(), above.end(), std::size_t{0});
  for (std::size_t i = 0; i < from.size(); ++i) {
    std::vector<std::size_t> row{i + 1};
    for (std::size_t j = 0; j < to.size(); ++j) {
      const std::size_t replaced = above[j] + (from[i] == to[j] ? 0 : 1);
      row.push_back(std::min({replaced, above[j + 1] + 1, row[j] + 1}));
    }
    above = std::move(row);
  }
  return above.back();
}

}  // namespace

std::string nearest(std::string_view wrong, const std::vector<std::string>& known) {
  constexpr std::size_t kLettersMax = 100;  // beyond that nobody mistyped
  if (wrong.size() > kLettersMax) return "";
  std::string best;
  std::size_t least = 0;
  for (const std::string& word : known) {
    const std::size_t steps = distance(wrong, word);
    if (steps * 3 > word.size() || (!best.empty() && steps >= least)) continue;
    best = word;
    least = steps;
  }
  return best;
}

std::string unknown_word(std::string_view what, std::string_view wrong, const std::vector<std::string>& known) {
  const std::string meant = nearest(wrong, known);
  const std::string hint = meant.empty() ? "" : fmt::format(" Did you mean '{}'?", meant);
  return fmt::format("no {} '{}'.{} There are: {}", what, wrong, hint, fmt::join(known, ", "));
}

}  // namespace host::app
