// SPDX-License-Identifier: Apache-2.0
#include "host/detect/timing.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "host/detect/arm.h"
#include "host/judge/timing_limit.h"

namespace host::detect {
namespace {

using steadyrail::proto::EventKind;
using steadyrail::proto::FigureSource;
using steadyrail::proto::Quantity;
using steadyrail::proto::Rail;

constexpr std::size_t kFallsMost = 8;  // read one by one; more at a time are only counted
constexpr double kStartMostS = 2.8;    // of the history that a start may take
constexpr double kAfterStartS = 20e-3;
constexpr double kBeforeAskedS = 20e-3;  // of rails still down
constexpr double kInterruption = 0.1;    // retained voltage below it: an interruption, not a dip (IEEE 1159, secondary)
constexpr double kAdapterLitV = 2;       // no adapter shows less with mains; own choice
constexpr double kStandbyMostS = 2.5;
constexpr double kLossMostS = 1.2;  // what follows so much later is not laid to a loss

const char* name_of(Quantity quantity) {
  switch (quantity) {
    case Quantity::QUANTITY_POWER_ON_TIME:
      return "power-on time";
    case Quantity::QUANTITY_PWR_OK_DELAY:
      return "PWR_OK delay";
    case Quantity::QUANTITY_PWR_OK_RISE_TIME:
      return "PWR_OK rise";
    case Quantity::QUANTITY_MAINS_LOSS_TO_PWR_OK:
      return "PWR_OK held for";
    case Quantity::QUANTITY_HOLD_UP:
      return "rails held for";
    default:
      return nullptr;
  }
}

void add_words(std::string& words, const std::string& more) {
  words += (words.empty() ? "" : "; ") + more;
}

}  // namespace

TimingDesk::TimingDesk(const model::Jig& jig, const steadyrail::proto::LimitSet* limits,
                       const steadyrail::proto::Unit* unit, EventBook& book, const History& history,
                       const std::deque<Capture>& captures)
    : jig_(jig),
      limits_(limits),
      book_(book),
      history_(history),
      crossings_(jig, history, captures),
      losses_(jig, history),
      starts_(jig, limits, history, crossings_),
      outages_(jig, limits, unit, history, crossings_, losses_),
      levels_(jig),
      standby_(watched_rails(jig, limits, Rails::kStandby)),
      pwr_ok_(pwr_ok_channel(jig)),
      ps_on_(ps_on_channel(jig)) {
  for (const auto& channel : jig.channels()) {
    if (channel.kind == steadyrail::proto::CHANNEL_KIND_AC_PRESENT) adapter_ = &channel;
  }
}

Found TimingDesk::found_at(EventKind kind, std::size_t channel, double scan, double u_scans,
                           FigureSource source) const {
  Found found;
  found.kind = kind;
  found.channel = static_cast<std::uint8_t>(channel);
  found.source = source;
  const double whole = std::floor(std::max(scan, 0.0));
  found.start = static_cast<std::uint64_t>(whole);
  found.end = found.start + 1;
  found.start_s_offset = scan - whole;
  found.start_u_scans = u_scans;
  return found;
}

void TimingDesk::edge(const steadyrail::proto::Edge& edge) {
  if (edge.scan() >= kScanMost) return;
  if (edge.pulse_ns() == 0) {
    crossings_.edge(edge);
    losses_.edge(edge);
    return;
  }
  const bool pwr_ok = edge.line() == steadyrail::proto::LINE_PWR_OK;
  const auto* channel = pwr_ok ? pwr_ok_ : edge.line() == steadyrail::proto::LINE_PS_ON ? ps_on_ : nullptr;
  if (channel == nullptr) return;
  const double scan = static_cast<double>(edge.scan()) + std::min(edge.offset_256(), 255U) / 256.0;
  Found found =
      found_at(EventKind::EVENT_KIND_LINE_PULSE, channel->index, scan, 1 / 256.0, FigureSource::FIGURE_SOURCE_CHIP);
  found.duration_scans = edge.pulse_ns() * 1e-9 * jig_.scan_rate_hz();
  found.severity = edge.pulse_ns();
  found.note =
      fmt::format("{} for {:.1f} us, too short for a sample", edge.high() ? "low" : "high", edge.pulse_ns() * 1e-3);
  book_.add(found);
}

TimingDesk::Windows TimingDesk::windows_between(double from, double to) const {
  Windows windows;
  const auto begin = static_cast<std::uint64_t>(std::max(from, 0.0));
  history_.visit(begin, static_cast<std::uint64_t>(std::max(to, 0.0)), [&](const History::Window& window) {
    // Nothing is measured across a hole: what stands before it is left out.
    if (!windows.empty() && windows.back().end() != window.start) windows.clear();
    windows.push_back(window);
  });
  return windows;
}

void TimingDesk::add(const Block& block) {
  if (!block.follows) gap();
  levels_.add(block);
  read_standby_start(block);
  if (pwr_ok_ != nullptr && !(begun_ && stays(block))) {
    for (std::uint32_t i = 0; i < block.count; ++i) step(block, i);
  }
  read_falls(block.end(), false);
  if (rose_ && block.end() >= start_due_) read_start();
  read_start_without_pwr_ok(block.end());
  for (const MainsLoss& loss : losses_.take(block.end(), false)) list_loss(loss);
}

bool TimingDesk::stays(const Block& block) const {
  const auto ends = [&](const model::JigChannel& channel) {
    return std::minmax({channel.value(block.low[channel.index]), channel.value(block.high[channel.index])});
  };
  if (!good_ || ends(*pwr_ok_).first < kPwrOkHigh.volts()) return false;
  return ps_on_ == nullptr || (asked_ && ends(*ps_on_).second <= kPsOnHigh.volts());
}

void TimingDesk::step(const Block& block, std::uint32_t window) {
  const History::Window here{block.start_of(window), block.scans, 0, 0};
  if (ps_on_ != nullptr) {
    const auto& columns = block.windows->channels[ps_on_->index];
    const bool low = ps_on_->value(columns.min[window]) < kPsOnLow.volts();
    const bool high = ps_on_->value(columns.max[window]) > kPsOnHigh.volts();
    if (asked_ ? high : low) {
      asked_ = !asked_;
      waited_ = false;
      asked_since_ = here.start;
      if (!asked_ && !falls_.empty()) falls_.back().cycled = true;
    }
  }
  const auto& columns = block.windows->channels[pwr_ok_->index];
  const bool leaves = pwr_ok_->value(columns.min[window]) < kPwrOkHigh.volts();
  const bool reaches = pwr_ok_->value(columns.max[window]) >= kPwrOkHigh.volts();
  if (!begun_) {
    begun_ = true;
    good_ = !leaves;
    ever_good_ = good_;
    low_since_ = here.start;
    return;
  }
  if (good_ && leaves) fell(here);
  // It may come back in the window in which it fell; of a fall the window begins high, so the next one decides.
  else if (!good_ && reaches && !(leaves && low_since_ == here.start))
    rose(here);
}

void TimingDesk::fell(const History::Window& window) {
  good_ = false;
  low_since_ = window.start;
  const auto after = static_cast<std::uint64_t>(OutageReader::kAfterS * jig_.scan_rate_hz());
  if (falls_.size() >= kFallsMost) {
    book_.count(EventKind::EVENT_KIND_SHUTDOWN, static_cast<std::uint8_t>(pwr_ok_->index), 1);
    return;
  }
  falls_.push_back({window, window.end() + after, {}, {}, !asked_ && ps_on_ != nullptr});
}

void TimingDesk::rose(const History::Window& window) {
  good_ = true;
  ever_good_ = true;
  if (!falls_.empty() && !falls_.back().back) falls_.back().back = static_cast<double>(window.start);
  rose_ = window;
  start_due_ = window.end() + static_cast<std::uint64_t>(kAfterStartS * jig_.scan_rate_hz());
}

void TimingDesk::read_falls(std::uint64_t reached, bool all) {
  const double rate = jig_.scan_rate_hz();
  for (Fall& fall : falls_) {
    if (fall.outage || (!all && fall.due > reached)) continue;
    const double from = static_cast<double>(fall.window.start) - OutageReader::kBeforeS * rate;
    fall.outage = outages_.read(windows_between(from, static_cast<double>(fall.due)), fall.window);
  }
  std::erase_if(falls_, [&](const Fall& fall) {
    if (!fall.outage || (!fall.back && !all)) return false;
    list_fall(fall);
    return true;
  });
}

void TimingDesk::list_fall(const Fall& fall) {
  const Outage& outage = *fall.outage;
  Found found = found_at(EventKind::EVENT_KIND_SHUTDOWN, pwr_ok_->index, outage.begin.scan, outage.begin.u_scans,
                         outage.begin.source);
  found.first = outage.first;
  found.rails_held = outage.rails_held;
  found.load_share = outage.load_share;
  found.load_share_most = outage.load_share_most;
  found.note = outage.story;
  const double rate = jig_.scan_rate_hz();
  if (fall.back) {
    found.end = static_cast<std::uint64_t>(*fall.back);
    found.duration_scans = *fall.back - outage.begin.scan;
    found.duration_u_scans = fall.window.scans;
    add_words(found.note, fmt::format("PWR_OK came back after {:.3f} s{}", found.duration_scans / rate,
                                      fall.cycled ? ", PS_ON# having been high meanwhile" : ""));
  } else {
    found.end = std::max(found.start, history_.end());
    found.duration_scans = static_cast<double>(found.end) - outage.begin.scan;
    found.truncated = true;
    add_words(found.note, "PWR_OK was not seen to come back");
  }
  found.severity = found.duration_scans;
  if (outage.warning) keep(*outage.warning, found);
  book_.add(found);
}

void TimingDesk::keep(const Timed& timed, Found& found) {
  const model::JigChannel& channel = *jig_.at(timed.channel);
  figures_.add(Rail::RAIL_UNKNOWN, timed);
  steadyrail::proto::Figure figure;
  figure.set_quantity(timed.quantity);
  figure.set_channel(channel.name);
  figure.set_value(timed.value);
  figure.set_unit("s");
  figure.set_expanded_uncertainty(2 * timed.u);
  found.figures.push_back(figure);
}

void TimingDesk::read_start() {
  const History::Window rose = *rose_;
  rose_.reset();
  const double rate = jig_.scan_rate_hz();
  Windows windows =
      windows_between(static_cast<double>(rose.start) - kStartMostS * rate, static_cast<double>(start_due_));
  // From the last moment at which the rails were down, or from before PS_ON# if that came since PWR_OK fell.
  std::size_t begin = windows.size();
  for (std::size_t i = 0; i < windows.size(); ++i) {
    const bool down = std::ranges::all_of(starts_.rails(), [&](const RailWatch& watch) {
      return jig_.at(watch.channel)->value(history_.high(windows[i], watch.channel)) < 0.1 * watch.nominal_v;
    });
    if (down) begin = i;
  }
  if (begin == windows.size()) return;
  if (asked_ && asked_since_ > low_since_) {
    while (begin > 0 && windows[begin].end() + windows[begin].scans > asked_since_) --begin;
  }
  windows.erase(windows.begin(), windows.begin() + static_cast<std::ptrdiff_t>(begin));
  if (const auto start = starts_.read(std::move(windows))) list_start(*start);
}

void TimingDesk::read_start_without_pwr_ok(std::uint64_t reached) {
  const double rate = jig_.scan_rate_hz();
  // One that fell after PS_ON# did is an outage, and told as such.
  if (waited_ || !begun_ || good_ || !asked_ || low_since_ > asked_since_) return;
  const auto asked = static_cast<double>(asked_since_);
  if (static_cast<double>(reached) < asked + kStartMostS * rate) return;
  waited_ = true;
  Windows windows = windows_between(asked - rate * kBeforeAskedS, static_cast<double>(reached));
  auto start = starts_.read(std::move(windows));
  if (start && !ever_good_) {
    // An open sense lead reads the same: such a time would accuse the supply of the jig's wiring.
    std::erase_if(start->figures, [](const Timed& timed) { return timed.quantity == Quantity::QUANTITY_PWR_OK_DELAY; });
    start->oddities.push_back("PWR_OK was not seen high yet in this session: its sense lead may be open");
  }
  if (start) {
    list_start(*start);
    return;
  }
  Found found = found_at(EventKind::EVENT_KIND_SEQUENCE, ps_on_->index, asked, 1, FigureSource::FIGURE_SOURCE_WINDOW);
  found.note = fmt::format("PS_ON# was low for {:.1f} s, but no rail rose and PWR_OK stayed low",
                           (static_cast<double>(reached) - asked) / rate);
  book_.add(found);
}

void TimingDesk::list_start(const StartUp& start) {
  const std::size_t channel = ps_on_ != nullptr ? ps_on_->index : pwr_ok_->index;
  Found found =
      found_at(EventKind::EVENT_KIND_TIMING, channel, start.begin.scan, start.begin.u_scans, start.begin.source);
  found.note = "the supply started";
  if (start.pwr_ok) {
    found.duration_scans = start.pwr_ok->scan - start.begin.scan;
    found.duration_u_scans = 2 * std::hypot(start.pwr_ok->u_scans, start.begin.u_scans);
    found.end = found.start + static_cast<std::uint64_t>(std::max(1.0, found.duration_scans));
  }
  for (const Timed& timed : start.figures) {
    const model::JigChannel& at = *jig_.at(timed.channel);
    figures_.add(timed.quantity == Quantity::QUANTITY_POWER_ON_TIME ? Rail::RAIL_UNKNOWN : at.rail, timed);
    steadyrail::proto::Figure figure;
    figure.set_quantity(timed.quantity);
    figure.set_channel(at.name);
    figure.set_value(timed.value);
    figure.set_unit(judge::unit_of(timed.quantity));
    figure.set_expanded_uncertainty(2 * timed.u);
    found.figures.push_back(figure);
    if (const char* name = name_of(timed.quantity)) {
      add_words(found.note, fmt::format("{} {:.3f} ms", name, 1e3 * timed.value));
    }
  }
  if (!start.order.empty()) add_words(found.note, "rails " + start.order);
  found.severity = found.duration_scans;
  for (const std::string& oddity : start.oddities) {
    Found odd =
        found_at(EventKind::EVENT_KIND_SEQUENCE, channel, start.begin.scan, start.begin.u_scans, start.begin.source);
    odd.note = oddity;
    book_.add(odd);
  }
  book_.add(found);
}

void TimingDesk::list_loss(const MainsLoss& loss) {
  const double rate = jig_.scan_rate_hz();
  Found found = found_at(EventKind::EVENT_KIND_MAINS_LOSS, adapter_->index, loss.start, loss.late_s * rate / 2,
                         FigureSource::FIGURE_SOURCE_CHIP);
  const double end = loss.end ? *loss.end : static_cast<double>(history_.end());
  found.end = std::max(found.start + 1, static_cast<std::uint64_t>(end));
  found.duration_scans = end - loss.start;
  found.truncated = !loss.end;
  found.severity = found.duration_scans;
  found.retained = loss.retained;
  found.note = loss.retained < kInterruption ? "interruption"
                                             : fmt::format("dip to {:.0f} % of the voltage", 100 * loss.retained);
  if (loss.bounced) add_words(found.note, "more than one break in 20 ms: not used for times");
  const double until = std::min(end + 0.2 * rate, loss.start + kLossMostS * rate);
  time_loss(loss, windows_between(loss.start - 64, until), found);
  book_.add(found);
}

void TimingDesk::time_loss(const MainsLoss& loss, const Windows& windows, Found& found) {
  const double rate = jig_.scan_rate_hz();
  const bool high_before = pwr_ok_ != nullptr && !windows.empty() &&
                           static_cast<double>(windows.front().end()) <= loss.start &&
                           pwr_ok_->value(history_.low(windows.front(), pwr_ok_->index)) >= kPwrOkHigh.volts();
  if (!high_before) {
    add_words(found.note, "PWR_OK was not high before");
    return;
  }
  const auto within = history_.within(Rail::RAIL_P12V, windows.front().start, found.start);
  const bool timed = losses_.timed() && loss.retained < kInterruption && !loss.bounced &&
                     within != steadyrail::proto::WITHIN_RATING_NO;
  const Instant from{loss.start, 0, FigureSource::FIGURE_SOURCE_CHIP};
  const auto tell = [&](Quantity quantity, std::size_t channel, const Instant& to) {
    Timed figure = interval(quantity, channel, from, to, rate);
    figure.late = loss.late_s;
    add_words(found.note, fmt::format("{} {:.3f} ms", name_of(quantity), 1e3 * figure.value));
    if (timed) keep(figure, found);
  };
  const auto left = crossings_.first(pwr_ok_->index, kPwrOkHigh.volts(), false, windows);
  if (left) {
    tell(Quantity::QUANTITY_MAINS_LOSS_TO_PWR_OK, pwr_ok_->index, *left);
  } else {
    add_words(found.note, "PWR_OK stayed high");
    // As long as the loss lasted PWR_OK held: at least so long.
    const Instant to{loss.start + found.duration_scans, 0.5, FigureSource::FIGURE_SOURCE_CHIP};
    if (timed && loss.end) {
      Timed least = interval(Quantity::QUANTITY_MAINS_LOSS_TO_PWR_OK, pwr_ok_->index, from, to, rate);
      const auto* row = limits_ == nullptr ? nullptr : judge::timing_limit(*limits_, least.quantity);
      if (row != nullptr && row->has_least_us() && least.value >= row->least_us() / 1e6) keep(least, found);
    }
  }
  std::optional<Instant> first;
  std::size_t channel = 0;
  for (const RailWatch& watch : starts_.rails()) {
    const auto fell = crossings_.left(watch.channel, watch.least_v, windows);
    if (fell && (!first || fell->scan < first->scan)) first = fell, channel = watch.channel;
  }
  if (first) tell(Quantity::QUANTITY_HOLD_UP, channel, *first);
}

void TimingDesk::read_standby_start(const Block& block) {
  if (adapter_ == nullptr || standby_.empty()) return;
  const RailWatch& watch = standby_.front();
  const model::JigChannel& channel = *jig_.at(watch.channel);
  for (std::uint32_t i = 0; i < block.count; ++i) {
    const auto& mains = block.windows->channels[adapter_->index];
    const bool lit =
        std::max(std::abs(adapter_->value(mains.min[i])), std::abs(adapter_->value(mains.max[i]))) >= kAdapterLitV;
    const bool up = channel.value(block.windows->channels[watch.channel].min[i]) >= watch.least_v;
    if (lit_ && static_cast<double>(block.start_of(i) - *lit_) > kStandbyMostS * jig_.scan_rate_hz()) lit_.reset();
    if (lit_ && up) {
      const double begin = static_cast<double>(*lit_);
      const auto risen = crossings_.first(watch.channel, watch.least_v, true,
                                          windows_between(begin, static_cast<double>(block.end())));
      // Where in its first window the mains came is not known.
      const Instant from{begin + block.scans / 2.0, block.scans / std::sqrt(12.0), FigureSource::FIGURE_SOURCE_WINDOW};
      if (risen) {
        figures_.add(Rail::RAIL_UNKNOWN,
                     interval(Quantity::QUANTITY_STANDBY_START, watch.channel, from, *risen, jig_.scan_rate_hz()));
      }
      lit_.reset();
    }
    // A sine passes through zero: only with standby down too is the mains surely away.
    if (!lit && channel.value(block.windows->channels[watch.channel].max[i]) < 0.1 * watch.nominal_v) {
      dark_ = dark_ || !lit_;
    }
    if (dark_ && lit) lit_ = block.start_of(i), dark_ = false;
  }
}

void TimingDesk::gap() {
  read_falls(history_.end(), true);
  falls_.clear();
  for (const MainsLoss& loss : losses_.take(0, true)) list_loss(loss);
  losses_.gap();
  rose_.reset();
  begun_ = false;
  asked_ = false;
  asked_since_ = 0;
  dark_ = false;
  lit_.reset();
}

void TimingDesk::finish() {
  if (rose_) read_start();
  gap();
}

WorstFigures TimingDesk::figures() const {
  WorstFigures figures = figures_;
  levels_.write(figures);
  return figures;
}

}  // namespace host::detect
