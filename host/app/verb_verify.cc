// SPDX-License-Identifier: Apache-2.0
#include <unistd.h>

#include <algorithm>
#include <cmath>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "host/app/comparison.h"
#include "host/app/kept_calibration.h"
#include "host/app/live_session.h"
#include "host/app/measuring.h"
#include "host/app/outputs.h"
#include "host/app/verb_calibrate.h"
#include "host/calibrate/meter.h"
#include "host/calibrate/verification.h"
#include "host/data/shipped.h"
#include "host/judge/uncertainty.h"
#include "host/model/day.h"
#include "host/report/certificate_page.h"
#include "host/report/json.h"
#include "host/report/summary.h"

namespace host::app {
namespace {

namespace proto = steadyrail::proto;

constexpr int kExitFail = 1;
constexpr int kExitOpen = 4;
constexpr double kSettleS = 0.3;
constexpr double kMeanS = 1;
constexpr double kMeanSamples = 320;     // U of a mean of 10 ms, as verdicts have it
constexpr double kDriftShare = 1.0 / 3;  // of U; common practice, no source

class Verification {
 public:
  Verification(const VerifyOptions& options, Compared compared, Terminal& terminal, const Interrupt& interrupt)
      : options_(options), compared_(std::move(compared)), terminal_(terminal), interrupt_(interrupt) {}

  int run() {
    const auto asked = link::converse(line_of(options_.common, compared_.jig, interrupt_), {});
    if (!asked) return terminal_.complain(asked.error().message, exit_status(asked.error().fault));
    KeptJig kept = with_kept_calibration(compared_.jig, asked->calibration);
    if (!kept.remark.empty()) terminal_.say(kept.remark);
    compared_.jig = std::move(kept.jig);
    if (compared_.jig.description().calibration().channels().empty()) {
      return terminal_.complain("verify: the jig keeps no calibration that could be verified");
    }
    if (asked->hello.simulated()) terminal_.say("SIMULATED: no real jig is verified.");
    set_head(asked->hello);
    if (const auto due = model::day_of(compared_.meter.due()); !due || model::day_text(*due) < out_.date()) {
      return terminal_.complain(
          fmt::format("meter {} was due for its own calibration on {}", compared_.meter.id(), compared_.meter.due()));
    }
    if (const auto read = read_history(); !read) return terminal_.complain(read.error());
    choose_channels();
    if (const int status = take_points(); status != 0) return status;
    add_drifts();
    print();
    if (const auto written = write(); !written) return terminal_.complain(written.error(), kExitNotFinished);
    return status();
  }

 private:
  void set_head(const proto::Hello& hello) {
    const proto::Calibration& calibration = compared_.jig.description().calibration();
    out_.set_caution(std::string(data::shipped("texts/caution.txt").value_or("")));
    out_.set_simulated(hello.simulated());
    out_.set_calibration_id(calibration.id());
    out_.set_jig_id(compared_.jig.description().id());
    out_.set_firmware(hello.firmware());
    out_.set_date(today());
    out_.set_calibrated(calibration.date());
    out_.set_due(calibration.due());
    out_.set_temperature_c(options_.common.temperature_c);
    out_.set_meter(compared_.meter.id());
    out_.set_meter_uncertainty(calibrate::in_words(compared_.meter));
    out_.set_meter_due(compared_.meter.due());
    out_.set_role(options_.common.role);
    if (out_.date() > calibration.due()) {
      out_.add_remarks(
          fmt::format("the calibration was due on {}: a verification does not renew it", calibration.due()));
    }
    if (out_.date() == calibration.date()) {
      out_.add_remarks("on the day of the calibration: it shows slips, not drift");
    }
  }

  std::expected<void, std::string> read_history() {
    for (const std::string& path : options_.history) {
      const auto text = model::read_file(path);
      if (!text) return std::unexpected(model::to_string(text.error()));
      auto certificate = calibrate::read_certificate(*text);
      if (!certificate) return std::unexpected(path + ": " + certificate.error());
      if (certificate->calibration_id() != out_.calibration_id()) {
        return std::unexpected(fmt::format("{}: verifies calibration {}, the jig keeps {}", path,
                                           certificate->calibration_id(), out_.calibration_id()));
      }
      if (certificate->simulated() != out_.simulated()) {
        return std::unexpected(path + ": a simulated verification and a real one make no line");
      }
      history_.push_back(std::move(*certificate));
    }
    return {};
  }

  /// Uncalibrated channels have nothing to verify.
  void choose_channels() {
    std::erase_if(compared_.channels, [&](const std::string& name) { return !compared_.jig.find(name)->calibrated; });
  }

  int take_points() {
    const auto steps =
        calibrate::plan(compared_.jig, compared_.channels, options_.common.together, calibrate::Purpose::kVerification);
    if (steps.empty()) return terminal_.complain("verify: none of these channels is calibrated");
    auto jig = Measuring::start(line_of(options_.common, compared_.jig, interrupt_));
    if (!jig) return terminal_.complain(jig.error().message, exit_status(jig.error().fault));
    LineInput input(STDIN_FILENO, interrupt_.token());
    Guide guide(terminal_, input, compared_.readings, options_.common.readings);
    for (std::size_t i = 0; i < steps.size(); ++i) {
      const auto told = guide.ask(steps[i], i + 1, steps.size());
      if (!told) return terminal_.complain(told.error());
      if (told->reply == Reply::kEnd && out_.points().empty()) {
        return terminal_.complain("verify: broken off before the first point", kExitNotFinished);
      }
      if (told->reply == Reply::kEnd) break;
      if (told->reply != Reply::kReading) continue;
      const auto means = (*jig)->mean(kSettleS, kMeanS);
      if (!means) return terminal_.complain(means.error(), kExitNotFinished);
      for (const std::string& name : steps[i].channels) {
        const model::JigChannel& channel = *compared_.jig.find(name);
        const CodeMean& mean = (*means)[channel.index];
        *out_.add_points() =
            calibrate::verified(channel, compared_.meter, told->reading, channel.value(mean.code), mean.scans);
      }
    }
    return 0;
  }

  /// The point nearest to the value that U is stated for: the rail's nominal, else the greatest.
  const proto::VerifiedPoint* judged(const proto::VerificationCertificate& certificate, const std::string& name) const {
    const model::JigChannel& channel = *compared_.jig.find(name);
    const double wanted = channel.kind == proto::CHANNEL_KIND_RAIL_VOLTAGE
                              ? model::rail_nominal_v(channel.rail)
                              : calibrate::levels(channel, calibrate::Purpose::kCalibration).back();
    const proto::VerifiedPoint* found = nullptr;
    for (const proto::VerifiedPoint& point : certificate.points()) {
      if (point.channel() != name || point.outcome() == "refused") continue;
      if (found == nullptr || std::abs(point.reference() - wanted) < std::abs(found->reference() - wanted))
        found = &point;
    }
    return found;
  }

  void add_drifts() {
    const std::int32_t due = model::day_of(out_.due()).value_or(0);
    for (const std::string& name : compared_.channels) {
      const proto::VerifiedPoint* now = judged(out_, name);
      if (now == nullptr) {
        out_.add_unverified(name);
        continue;
      }
      // The calibration itself is the line's first point: there the jig was set to agree.
      std::vector<calibrate::DriftPoint> points = {{model::day_of(out_.calibrated()).value_or(0), 0}};
      for (const proto::VerificationCertificate& before : history_) {
        const proto::VerifiedPoint* point = judged(before, name);
        if (point != nullptr) points.push_back({model::day_of(before.date()).value_or(0), point->difference()});
      }
      points.push_back({model::day_of(out_.date()).value_or(0), now->difference()});
      const double u = judge::expanded_uncertainty(*compared_.jig.find(name), now->jig(), kMeanSamples).expanded;
      proto::ChannelDrift row = calibrate::drift(points, kDriftShare * u, due);
      row.set_channel(name);
      row.set_unit(now->unit());
      row.set_at(now->reference());
      *out_.add_drifts() = std::move(row);
    }
  }

  void print() {
    if (out_.simulated()) terminal_.out() << "SIMULATED: no real jig was verified.\n";
    std::vector<std::vector<std::string>> rows;
    for (const proto::VerifiedPoint& point : out_.points()) {
      rows.push_back({point.channel(), fmt::format("{:.4f} {}", point.reference(), point.unit()),
                      fmt::format("{:+.2f} m{}", 1e3 * point.difference(), point.unit()),
                      fmt::format("{:.2f}", point.e_n()), point.outcome(), point.reason()});
    }
    terminal_.out() << fmt::format("Verification of calibration {} of jig {}, {}, against {}.\n", out_.calibration_id(),
                                   out_.jig_id(), out_.date(), out_.meter())
                    << report::text_table({"channel", "meter", "jig less meter", "E_n", "outcome", ""}, rows);
    for (const proto::ChannelDrift& row : out_.drifts()) {
      const std::string line = row.has_per_year()
                                   ? fmt::format("{:+.2f} m{} a year; on {}: {:+.2f} m{} ({:+.2f} to {:+.2f})",
                                                 1e3 * row.per_year(), row.unit(), out_.due(), 1e3 * row.predicted(),
                                                 row.unit(), 1e3 * row.predicted_low(), 1e3 * row.predicted_high())
                                   : fmt::format("no line from {} days", row.verifications());
      terminal_.out() << fmt::format("Drift of {}: {}; may go to {:.2f} m{}; due {} ({}).\n", row.channel(), line,
                                     1e3 * row.limit(), row.unit(), row.due(), row.due_cause());
    }
    if (!out_.unverified().empty()) {
      terminal_.out() << fmt::format("Not verified: {}.\n", fmt::join(out_.unverified(), ", "));
    }
    for (const std::string& words : out_.remarks()) terminal_.out() << "Remark: " << words << ".\n";
  }

  std::expected<void, std::string> write() {
    if (!options_.common.page.empty()) {
      const std::string style(data::shipped("texts/report.css").value_or(""));
      if (auto done = write_file(options_.common.page, report::certificate_page(out_, style)); !done) return done;
    }
    if (options_.common.json.empty()) return {};
    const auto json = report::to_json(out_);
    if (!json) return std::unexpected(json.error());
    return write_file(options_.common.json, *json);
  }

  int status() const {
    const auto outcome = [&](const char* word) {
      return std::ranges::any_of(out_.points(), [&](const auto& point) { return point.outcome() == word; });
    };
    if (outcome("fail")) return kExitFail;
    return !out_.unverified().empty() || outcome("refused") ? kExitOpen : 0;
  }

  const VerifyOptions& options_;
  Compared compared_;
  Terminal& terminal_;
  const Interrupt& interrupt_;
  std::vector<proto::VerificationCertificate> history_;
  proto::VerificationCertificate out_;
};

}  // namespace

int verify(const VerifyOptions& options, Terminal& terminal, const Interrupt& interrupt) {
  terminal.print_caution();
  std::vector<std::string> inputs = options.history;
  inputs.push_back(options.common.readings);
  const auto checked = check_outputs({{"--json", options.common.json}, {"--report", options.common.page}}, inputs);
  if (!checked) return terminal.complain(checked.error());
  auto compared = load_comparison(options.common);
  if (!compared) return terminal.complain(compared.error());
  return Verification(options, std::move(*compared), terminal, interrupt).run();
}

}  // namespace host::app
