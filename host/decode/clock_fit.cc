// SPDX-License-Identifier: Apache-2.0
#include "host/decode/clock_fit.h"

#include <algorithm>
#include <limits>

namespace host::decode {
namespace {

constexpr double kSpanLeastS = 1.0;
// Stretches to judge the line by: enough to follow a wandering clock, each with enough marks to show its lower edge.
constexpr std::uint64_t kStretchesLeast = 8;
constexpr std::uint64_t kStretchesMost = 64;
constexpr std::uint64_t kStretchMarks = 20;

}  // namespace

void ClockFit::add(std::uint64_t scan, model::HostTime arrived) {
  if (marks_ == 0) {
    first_scan_ = scan;
    first_host_ = arrived;
  } else if (scan < last_scan_) {
    return;
  }
  ++marks_;
  last_scan_ = scan;
  const auto scans = static_cast<double>(scan - first_scan_);
  const double seconds = static_cast<double>((arrived.since_epoch - first_host_.since_epoch).count()) * 1e-6;
  const Point point{(scan - first_scan_) / bucket_scans_, scans, seconds - scans / scan_rate_hz_};
  if (points_.empty() || points_.back().bucket != point.bucket) {
    points_.push_back(point);
    if (points_.size() > kBucketsMax) merge_buckets();
  } else if (point.y < points_.back().y) {
    points_.back() = point;
  }
}

void ClockFit::merge_buckets() {
  bucket_scans_ *= 2;
  std::vector<Point> merged;
  merged.reserve(kBucketsMax + 1);
  for (Point point : points_) {
    point.bucket /= 2;
    if (merged.empty() || merged.back().bucket != point.bucket) {
      merged.push_back(point);
    } else if (point.y < merged.back().y) {
      merged.back() = point;
    }
  }
  points_.swap(merged);
}

std::optional<ClockLine> ClockFit::line() const {
  if (points_.size() < 2 || static_cast<double>(last_scan_ - first_scan_) < kSpanLeastS * scan_rate_hz_) {
    return std::nullopt;
  }
  // Lower convex hull; of all lines below every point, the one with the least sum of distances holds the edge above the
  // points' mean abscissa.
  const auto turns_down = [](const Point& a, const Point& b, const Point& c) {
    return (b.y - a.y) * (c.x - a.x) >= (c.y - a.y) * (b.x - a.x);
  };
  std::vector<Point> hull;
  double mean_x = 0;
  for (const Point& point : points_) {
    mean_x += point.x / static_cast<double>(points_.size());
    while (hull.size() >= 2 && turns_down(hull[hull.size() - 2], hull.back(), point)) hull.pop_back();
    hull.push_back(point);
  }
  std::size_t right = 1;
  while (right + 1 < hull.size() && hull[right].x < mean_x) ++right;
  const Point& a = hull[right - 1];
  const Point& b = hull[right];
  const double slope = (b.y - a.y) / (b.x - a.x);  // seconds per scan beyond the nominal
  const double offset = a.y - slope * a.x;
  ClockLine line;
  line.first_scan = first_scan_;
  line.first_host = first_host_;
  line.offset_s = offset;
  line.seconds_per_scan = 1.0 / scan_rate_hz_ + slope;
  line.rate_ppm = (1.0 / (line.seconds_per_scan * scan_rate_hz_) - 1.0) * 1e6;
  // A wandering clock leaves a stretch whose earliest arrival lies well above any straight line.
  const std::size_t stretches = std::clamp(marks_ / kStretchMarks, kStretchesLeast, kStretchesMost);
  for (std::size_t stretch = 0; stretch < stretches; ++stretch) {
    const std::size_t begin = points_.size() * stretch / stretches;
    const std::size_t end = points_.size() * (stretch + 1) / stretches;
    double least = std::numeric_limits<double>::infinity();
    for (std::size_t i = begin; i < end; ++i) {
      least = std::min(least, points_[i].y - (offset + slope * points_[i].x));
    }
    if (begin < end) line.uncertainty_s = std::max(line.uncertainty_s, least);
  }
  return line;
}

std::optional<ScanInterval> ClockFit::scans(model::HostTime from, model::HostTime to) const {
  const auto fitted = line();
  if (!fitted) return std::nullopt;
  const auto scan_at = [&](model::HostTime time, double later_s) {
    const double seconds = static_cast<double>((time.since_epoch - fitted->first_host.since_epoch).count()) * 1e-6;
    return static_cast<double>(fitted->first_scan) + (seconds + later_s - fitted->offset_s) / fitted->seconds_per_scan;
  };
  // A mark arrives after it left: at a given host time the jig is at the line's scan or up to the least delay beyond.
  return ScanInterval{scan_at(from, -fitted->uncertainty_s), scan_at(to, fitted->uncertainty_s + kLeastDelayMaxS)};
}

}  // namespace host::decode
