// SPDX-License-Identifier: Apache-2.0
#include "host/report/chart.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>
#include <google/protobuf/repeated_field.h>

#include "host/report/escape.h"
#include "host/report/words.h"

namespace host::report {
namespace {

namespace proto = steadyrail::proto;

constexpr std::size_t kColumnsMax = 600;
constexpr std::size_t kStepColumnsMax = 200;
constexpr double kWidth = 680;
constexpr double kLeft = 62;  // room for the scale
constexpr double kRight = 670;
constexpr double kNearness = 1.0;  // a limit within this many spans of the wave is drawn
constexpr double kGapWidthLeast = 2;
constexpr int kGapsDrawnMax = 400;

/// A linear axis from values to places on the paper.
struct Axis {
  double from = 0;
  double to = 1;
  double at_from = 0;
  double at_to = 1;
  double operator()(double value) const { return at_from + (value - from) / (to - from) * (at_to - at_from); }
};

struct Column {
  float low;
  float high;
};

/// `seen`: empty, or which steps were seen at all.
/// The steps merged to at most kColumnsMax, keeping both extremes; NaN where nothing was seen.
std::vector<Column> columns_of(const google::protobuf::RepeatedField<float>& low,
                               const google::protobuf::RepeatedField<float>& high,
                               const google::protobuf::RepeatedField<bool>& seen = {}) {
  const auto count = static_cast<std::size_t>(std::min(low.size(), high.size()));
  const std::size_t merged = std::max<std::size_t>(1, (count + kColumnsMax - 1) / kColumnsMax);
  std::vector<Column> out;
  for (std::size_t first = 0; first < count; first += merged) {
    Column column{std::numeric_limits<float>::infinity(), -std::numeric_limits<float>::infinity()};
    for (std::size_t i = first; i < std::min(first + merged, count); ++i) {
      const int at = static_cast<int>(i);
      if (at < seen.size() && !seen[at]) continue;
      if (!std::isfinite(low[at]) || !std::isfinite(high[at])) continue;
      column.low = std::min(column.low, low[at]);
      column.high = std::max(column.high, high[at]);
    }
    if (column.low > column.high) column = {std::nanf(""), std::nanf("")};
    out.push_back(column);
  }
  return out;
}

struct Range {
  double low = std::numeric_limits<double>::infinity();
  double high = -std::numeric_limits<double>::infinity();
  bool empty() const { return low > high; }
  double span() const { return high - low; }
  void take(double value) {
    low = std::min(low, value);
    high = std::max(high, value);
  }
};

Range range_of(const std::vector<Column>& columns) {
  Range range;
  for (const Column& column : columns) {
    if (std::isnan(column.low)) continue;
    range.take(column.low);
    range.take(column.high);
  }
  return range;
}

/// Few columns with room between low and high are stretches, each of its own width: slanted lines would tell of slopes
/// nobody saw.
bool as_steps(const std::vector<Column>& columns) {
  return columns.size() <= kStepColumnsMax &&
         std::ranges::any_of(columns, [](const Column& column) { return column.low < column.high; });
}

/// Left and right edge of a column on the axis; one middle where columns are drawn as points.
std::pair<double, double> edges(std::size_t column, bool steps) {
  const auto at = static_cast<double>(column);
  return steps ? std::pair(at, at + 1) : std::pair(at + 0.5, at + 0.5);
}

/// The band from low to high as closed shapes, one for each stretch without a hole; where low equals high the outline
/// alone is seen, which is the wave.
std::string envelope(const std::vector<Column>& columns, const Axis& x, const Axis& y) {
  const bool steps = as_steps(columns);
  std::string path;
  for (std::size_t first = 0; first < columns.size();) {
    if (std::isnan(columns[first].low)) {
      ++first;
      continue;
    }
    std::size_t end = first;
    while (end < columns.size() && !std::isnan(columns[end].low)) ++end;
    char pen = 'M';
    const auto go = [&](double at, float value) {
      path += fmt::format("{}{:.1f} {:.1f}", pen, x(at), y(value));
      pen = 'L';
    };
    for (std::size_t i = first; i < end; ++i) {
      const auto [left, right] = edges(i, steps);
      go(left, columns[i].high);
      if (steps) go(right, columns[i].high);
    }
    for (std::size_t i = end; i-- > first;) {
      const auto [left, right] = edges(i, steps);
      go(right, columns[i].low);
      if (steps) go(left, columns[i].low);
    }
    path += 'Z';
    first = end;
  }
  return fmt::format("<path class=\"wave\" d=\"{}\"/>\n", path);
}

std::string label(double x, double y, std::string_view anchor, std::string_view text) {
  return fmt::format("<text x=\"{:.1f}\" y=\"{:.1f}\" text-anchor=\"{}\">{}</text>\n", x, y, anchor, html(text));
}

std::string line(double x1, double y1, double x2, double y2, std::string_view css) {
  return fmt::format("<line class=\"{}\" x1=\"{:.1f}\" y1=\"{:.1f}\" x2=\"{:.1f}\" y2=\"{:.1f}\"/>\n", css, x1, y1, x2,
                     y2);
}

std::string box(double x, double y, double width, double height, std::string_view css) {
  return fmt::format("<rect class=\"{}\" x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\"/>\n", css, x, y,
                     width, height);
}

std::string open_svg(double height, std::string_view title) {
  return fmt::format("<svg viewBox=\"0 0 {:.0f} {:.0f}\" role=\"img\"><title>{}</title>\n", kWidth, height,
                     html(title));
}

/// Round steps (1, 2 or 5 by tens) that give at most `count_max` marks over `span`.
double round_step(double span, int count_max) {
  const double rough = span / count_max;
  const double ten = std::pow(10, std::floor(std::log10(rough)));
  for (const double step : {1.0, 2.0, 5.0}) {
    if (step * ten >= rough) return step * ten;
  }
  return 10 * ten;
}

/// Marks along the bottom in a unit that suits the span; short ticks, no grid.
std::string time_marks(const Axis& x, double y, double seconds_per_column, double from_s) {
  const double span_s = (x.to - x.from) * seconds_per_column;
  const double scale = span_s < 1 ? 1e3 : 1;
  const double step_s = round_step(span_s * scale, 8) / scale;
  if (!(step_s > 0)) return "";
  std::string out = line(x.at_from, y, x.at_to, y, "axis");
  for (double at = std::ceil(from_s / step_s) * step_s; at <= from_s + span_s + step_s * 1e-6; at += step_s) {
    const double place = x((at - from_s) / seconds_per_column);
    const double shown = std::abs(at) < step_s * 1e-6 ? 0 : at * scale;
    out += line(place, y, place, y + 4, "axis") + label(place, y + 16, "middle", fmt::format("{:.6g}", shown));
  }
  return out + label(x.at_to, y + 30, "end", scale == 1 ? "seconds" : "milliseconds");
}

std::string value_marks(const Axis& y, const Range& range, std::string_view unit) {
  const double step = round_step(range.span(), 5);
  std::string out = line(kLeft, y.at_from, kLeft, y.at_to, "axis");
  for (double at = std::ceil(range.low / step) * step; at <= range.high; at += step) {
    const int decimals = std::clamp(-static_cast<int>(std::floor(std::log10(step))), 0, 6);
    out += line(kLeft - 4, y(at), kLeft, y(at), "axis");
    out += label(kLeft - 7, y(at) + 4, "end", fmt::format("{:.{}f} {}", at, decimals, unit));
  }
  return out;
}

std::string limit_marks(const DrawnLimit& limit, const Axis& x, const Axis& y) {
  const double top = y(limit.value + limit.expanded_uncertainty);
  const double height = std::max(1.5, y(limit.value - limit.expanded_uncertainty) - top);
  std::string out = box(x.at_from, top, x.at_to - x.at_from, height, "band");
  return out + line(x.at_from, y(limit.value), x.at_to, y(limit.value), "limit");
}

std::string limit_label(const DrawnLimit& limit, const Axis& x, const Axis& y, std::string_view unit) {
  return label(x.at_to, y(limit.value) - 5, "end",
               fmt::format("limit {}", with_uncertainty(limit.value, limit.expanded_uncertainty, unit)));
}

std::string holes(const proto::Coverage& coverage, double duration_s, double y, double height) {
  std::string out;
  const Axis x{0, duration_s, kLeft, kRight};
  for (int i = 0; i < std::min(coverage.gaps_size(), kGapsDrawnMax); ++i) {
    const double from = x(std::clamp(coverage.gaps(i).start_s(), 0.0, duration_s));
    const double to = x(std::clamp(coverage.gaps(i).end_s(), 0.0, duration_s));
    const double width = std::max(kGapWidthLeast, to - from);
    out += box(from, y, width, height, "paper") + box(from, y, width, height, "hole");
  }
  return out;
}

}  // namespace

std::string waveform_svg(const proto::Waveform& waveform, const proto::EventResult& event,
                         std::optional<DrawnLimit> limit) {
  const std::vector<Column> columns = columns_of(waveform.low(), waveform.high());
  Range range = range_of(columns);
  if (range.empty() || !(waveform.step_s() > 0)) return "";
  if (range.span() < 1e-6) range = {range.low - 0.01, range.high + 0.01};
  if (limit &&
      (limit->value < range.low - kNearness * range.span() || limit->value > range.high + kNearness * range.span())) {
    limit.reset();
  }
  if (limit) {
    range.take(limit->value - limit->expanded_uncertainty);
    range.take(limit->value + limit->expanded_uncertainty);
  }
  range = {range.low - 0.08 * range.span(), range.high + 0.08 * range.span()};
  constexpr double kTop = 12;
  constexpr double kBottom = 190;
  const double steps = static_cast<double>(std::min(waveform.low_size(), waveform.high_size()));
  const double seconds_per_column = waveform.step_s() * steps / static_cast<double>(columns.size());
  const Axis x{0, static_cast<double>(columns.size()), kLeft, kRight};
  const Axis y{range.low, range.high, kBottom, kTop};
  const double from_s = waveform.first_s() - event.start_s();
  std::string out = open_svg(228, fmt::format("{} of {}", word(event.kind()), waveform.channel()));
  out += value_marks(y, range, waveform.unit()) + time_marks(x, kBottom, seconds_per_column, from_s);
  if (limit) out += limit_marks(*limit, x, y);
  out += envelope(columns, x, y);
  if (limit) out += limit_label(*limit, x, y, waveform.unit());  // over the wave
  const bool high = event.side() == "high";
  const auto better = [&](const Column& left, const Column& right) {
    if (std::isnan(left.low) || std::isnan(right.low)) return !std::isnan(left.low) && std::isnan(right.low);
    return high ? left.high > right.high : left.low < right.low;
  };
  const auto extreme = std::ranges::min_element(columns, better);
  const double value = high ? extreme->high : extreme->low;
  const double place = x(static_cast<double>(extreme - columns.begin()) + 0.5);
  out += fmt::format("<circle class=\"extreme\" cx=\"{:.1f}\" cy=\"{:.1f}\" r=\"5\"/>\n", place, y(value));
  const bool left_half = place < (kLeft + kRight) / 2;
  out += label(place + (left_half ? 10 : -10), y(value) + 4, left_half ? "start" : "end",
               figure(value, 3, waveform.unit()));
  const double until = std::clamp((event.duration_s() - from_s) / seconds_per_column, 0.0, x.to);
  const double since = std::clamp(-from_s / seconds_per_column, 0.0, x.to);
  out += box(x(since), kBottom + 32, std::max(1.5, x(until) - x(since)), 4, "seen");
  return out + "</svg>\n";
}

std::string coverage_svg(const proto::Coverage& coverage, double duration_s) {
  if (!(duration_s > 0)) return "";
  std::string out = open_svg(56, "what was seen of the session");
  out += box(kLeft, 4, kRight - kLeft, 16, "seen") + holes(coverage, duration_s, 4, 16);
  const Axis x{0, duration_s, kLeft, kRight};
  return out + label(kLeft - 7, 16, "end", "seen") + time_marks(x, 24, 1, 0) + "</svg>\n";
}

std::string overview_svg(const proto::Overview& overview, const std::vector<double>& limits,
                         const proto::Coverage& coverage) {
  const std::vector<Column> columns = columns_of(overview.low(), overview.high(), overview.seen());
  Range range = range_of(columns);
  const double steps = static_cast<double>(std::min(overview.low_size(), overview.high_size()));
  const double duration_s = overview.step_s() * steps;
  if (range.empty() || !(duration_s > 0)) return "";
  if (range.span() < 1e-6) range = {range.low - 0.01, range.high + 0.01};
  const Range wave = range;
  for (const double limit : limits) {
    if (limit > wave.low - kNearness * wave.span() && limit < wave.high + kNearness * wave.span()) range.take(limit);
  }
  const Axis x{0, static_cast<double>(columns.size()), kLeft, kRight};
  const Axis y{range.low, range.high, 46, 6};
  std::string out = open_svg(52, fmt::format("{} over the session", overview.channel()));
  out += envelope(columns, x, y) + holes(coverage, duration_s, 2, 48);
  for (const double limit : limits) {
    if (limit >= range.low && limit <= range.high) out += line(kLeft, y(limit), kRight, y(limit), "limit");
  }
  // Two digits of the span, so that a rail that hardly moves does not show one figure twice.
  const int decimals = std::clamp(1 - static_cast<int>(std::floor(std::log10(range.span()))), 0, 6);
  out += label(kLeft - 7, 12, "end", figure(range.high, decimals, overview.unit()));
  return out + label(kLeft - 7, 48, "end", figure(range.low, decimals, overview.unit())) + "</svg>\n";
}

std::string chart_definitions() {
  return "<svg class=\"definitions\" aria-hidden=\"true\"><defs>\n"
         "<pattern id=\"hatch\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" "
         "patternTransform=\"rotate(45)\"><line x1=\"0\" y1=\"0\" x2=\"0\" y2=\"6\" stroke=\"#444\" "
         "stroke-width=\"1.6\"/></pattern>\n"
         "<pattern id=\"fine\" width=\"3\" height=\"3\" patternUnits=\"userSpaceOnUse\" "
         "patternTransform=\"rotate(-45)\"><line x1=\"0\" y1=\"0\" x2=\"0\" y2=\"3\" stroke=\"#777\" "
         "stroke-width=\"0.8\"/></pattern>\n</defs></svg>\n";
}

}  // namespace host::report
