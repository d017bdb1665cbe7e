// SPDX-License-Identifier: Apache-2.0
#include "host/app/verb_calibrate.h"

#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <map>

#include <fmt/format.h>
#include <CLI/CLI.hpp>

#include "host/app/calibration_progress.h"
#include "host/app/comparison.h"
#include "host/app/kept_calibration.h"
#include "host/app/live_session.h"
#include "host/app/measuring.h"
#include "host/app/outputs.h"
#include "host/calibrate/certificate.h"
#include "host/calibrate/channel_calibration.h"
#include "host/data/shipped.h"
#include "host/report/certificate_page.h"
#include "host/report/json.h"
#include "host/report/summary.h"

namespace host::app {
namespace {

namespace proto = steadyrail::proto;

constexpr int kExitRefused = 1;
constexpr int kExitOpen = 4;
constexpr double kSettleS = 0.3;  // the chain settles in 0.1 ms; a bench supply's knob does not
constexpr double kMeanS = 1;
constexpr std::size_t kIdBytesMax = 23;  // as the jig keeps it
constexpr double kClassMost = 5;         // %

std::string id_of(const CalibrateOptions& options, const std::string& jig, const std::string& day) {
  if (!options.id.empty()) return options.id;
  std::string date = day;
  std::erase(date, '-');
  const std::string named = fmt::format("CAL-{}-{}", jig, date);
  return named.size() <= kIdBytesMax ? named : "CAL-" + date;
}

proto::CalibrationProgress begin(const CalibrateOptions& options, const Compared& compared, bool simulated) {
  const proto::JigDescription& jig = compared.jig.description();
  proto::CalibrationProgress out;
  out.set_started(today());
  out.set_id(id_of(options, jig.id(), out.started()));
  out.set_jig_id(jig.id());
  out.set_role(options.common.role);
  out.set_temperature_c(options.common.temperature_c);
  *out.mutable_meter() = compared.meter;
  out.set_class_share(options.class_percent > 0 ? options.class_percent / 100 : calibrate::class_share(jig));
  out.set_months(calibrate::months_until_due(jig));
  out.set_simulated(simulated);
  for (const std::string& channel : compared.channels) out.add_channels(channel);
  out.set_together(options.common.together);
  return out;
}

double nominal(const model::JigChannel& channel, double code) {
  return channel.nominal(channel.value(code));
}

void add_points(const calibrate::Step& step, double reading, const model::Jig& jig, const CodeMeans& means,
                proto::CalibrationProgress& progress) {
  for (const std::string& name : step.channels) {
    const model::JigChannel& channel = *jig.find(name);
    const CodeMean& mean = means[channel.index];
    proto::CalibrationPoint& point = *progress.add_points();
    point.set_channel(name);
    point.set_direction(step.direction);
    point.set_reference(reading);
    point.set_jig(nominal(channel, mean.code));
    point.set_jig_sd(std::abs(channel.per_code / channel.gain) * mean.sd);
    point.set_scans(mean.scans);
  }
}

/// Readings with the jig's own noted beside them need no jig now. The way is read off their order where it is not said.
void take_from_file(const std::vector<calibrate::TypedReading>& readings, proto::CalibrationProgress& progress) {
  progress.clear_points();
  std::map<std::string, std::pair<double, std::string>> before;
  for (const calibrate::TypedReading& row : readings) {
    auto& [last, way] = before.try_emplace(row.channel, 0, "up").first->second;
    if (std::abs(row.reference) != last) way = std::abs(row.reference) > last ? "up" : "down";
    proto::CalibrationPoint& point = *progress.add_points();
    point.set_channel(row.channel);
    point.set_direction(row.direction.empty() ? way : row.direction);
    point.set_reference(row.reference);
    point.set_jig(*row.jig);
    last = std::abs(row.reference);
  }
}

class Calibration {
 public:
  Calibration(const CalibrateOptions& options, Compared compared, Terminal& terminal, const Interrupt& interrupt)
      : options_(options), compared_(std::move(compared)), terminal_(terminal), interrupt_(interrupt) {}

  int run() {
    const bool noted = !compared_.readings.empty() &&
                       std::ranges::all_of(compared_.readings, [](const auto& row) { return row.jig.has_value(); });
    if (options_.common.port.empty() && !noted) {
      return terminal_.complain("calibrate: name the jig's port, or --readings with a column 'jig' for every reading");
    }
    if (!options_.common.port.empty()) {
      auto asked = link::converse(line_of(options_.common, compared_.jig, interrupt_), {});
      if (!asked) return terminal_.complain(asked.error().message, exit_status(asked.error().fault));
      hello_ = asked->hello;
    }
    path_ = options_.progress.empty() ? compared_.jig.description().id() + ".calibration.textproto" : options_.progress;
    auto progress = resume(path_, begin(options_, compared_, hello_.simulated()));
    if (!progress) return terminal_.complain(progress.error());
    progress_ = std::move(*progress);
    if (hello_.simulated()) terminal_.say("SIMULATED: no real jig is calibrated.");
    if (noted) {
      take_from_file(compared_.readings, progress_);
    } else if (const int status = take_points(); status != 0) {
      return status;
    }
    return conclude();
  }

 private:
  /// 0: all stops are taken, or their channels skipped.
  int take_points() {
    const auto steps =
        calibrate::plan(compared_.jig, compared_.channels, options_.common.together, calibrate::Purpose::kCalibration);
    auto left = steps_left(steps, progress_);
    if (left.empty()) return 0;
    if (left.size() < steps.size()) {
      terminal_.say(fmt::format("{}: goes on at stop {} of {}", path_, steps.size() - left.size() + 1, steps.size()));
    }
    auto jig = Measuring::start(line_of(options_.common, compared_.jig, interrupt_));
    if (!jig) return terminal_.complain(jig.error().message, exit_status(jig.error().fault));
    LineInput input(STDIN_FILENO, interrupt_.token());
    Guide guide(terminal_, input, compared_.readings, options_.common.readings);
    guide.pass_over(steps.size() - left.size());
    while (!left.empty()) {
      const auto told = guide.ask(left.front(), steps.size() - left.size() + 1, steps.size());
      if (!told) return terminal_.complain(told.error());
      if (told->reply == Reply::kEnd) return broken_off(steps.size() - left.size(), steps.size());
      if (const int status = take(*told, left.front(), steps, **jig); status != 0) return status;
      left = steps_left(steps, progress_);
    }
    return 0;
  }

  int take(const Told& told, const calibrate::Step& step, const std::vector<calibrate::Step>& steps, Measuring& jig) {
    if (told.reply == Reply::kAgain && !take_back(steps, progress_)) terminal_.say("no point has been taken yet");
    if (told.reply == Reply::kSkip) {
      for (const std::string& channel : step.channels) progress_.add_skipped(channel);
    }
    if (told.reply == Reply::kReading) {
      const auto means = jig.mean(kSettleS, kMeanS);
      if (!means)
        return terminal_.complain(fmt::format("{}; {} keeps what was taken", means.error(), path_), kExitNotFinished);
      add_points(step, told.reading, compared_.jig, *means, progress_);
    }
    const auto saved = save(path_, progress_);
    return saved ? 0 : terminal_.complain(saved.error(), kExitNotFinished);
  }

  int broken_off(std::size_t taken, std::size_t all) {
    return terminal_.complain(
        fmt::format("broken off after {} of {} stops; {} keeps them, and the same command goes on there", taken, all,
                    path_),
        kExitNotFinished);
  }

  int conclude() {
    auto certified = calibrate::certify(compared_.jig, progress_);
    if (!certified) return terminal_.complain(certified.error());
    proto::CalibrationCertificate& out = certified->certificate;
    out.set_firmware(hello_.firmware());
    for (proto::ChannelCertificate& channel : *out.mutable_channels()) {
      const bool skipped = std::ranges::find(progress_.skipped(), channel.channel()) != progress_.skipped().end();
      if (skipped && channel.points().empty()) channel.set_reason("passed over: no reference");
    }
    int kept = 0;
    if (certified->calibrated == 0) {
      out.set_stored("nothing: no channel is calibrated");
    } else if (options_.common.port.empty()) {
      out.set_stored("nothing: no port was named");
    } else {
      kept = store(certified->jig, out);
    }
    print(out);
    if (const auto written = write(out); !written) return terminal_.complain(written.error(), kExitNotFinished);
    if (kept != 0) return kept;
    if (certified->refused > 0 || certified->calibrated == 0) return kExitRefused;
    return std::ranges::all_of(compared_.channels, [&](const std::string& name) { return is_clean(out, name); })
               ? 0
               : kExitOpen;
  }

  static bool is_clean(const proto::CalibrationCertificate& certificate, const std::string& name) {
    const auto channel = std::ranges::find(certificate.channels(), name, &proto::ChannelCertificate::channel);
    return channel != certificate.channels().end() && channel->outcome() == "calibrated" && channel->remarks().empty();
  }

  int store(const proto::JigDescription& jig, proto::CalibrationCertificate& out) {
    out.set_stored("nothing");
    const auto command = store_command(jig, options_.may_erase);
    if (!command) return terminal_.complain(command.error(), kExitNotFinished);
    const auto said = link::converse(line_of(options_.common, compared_.jig, interrupt_), {*command});
    if (!said) return terminal_.complain(said.error().message, exit_status(said.error().fault));
    const proto::Refusal refusal = said->answers.back().refusal();
    if (refusal == proto::REFUSAL_ERASE_NEEDED) {
      return terminal_.complain(
          "the jig's store is full: an erase stops the jig for up to half a second; say --may-erase, with nothing "
          "attached that must not stop. The points are kept: no reading has to be taken again",
          kExitNotFinished);
    }
    if (refusal == proto::REFUSAL_STORE_FAILED) {
      return terminal_.complain(
          fmt::format(
              "the jig could not write the calibration: its flash is worn. What it held before it still holds{}",
              said->calibration.id.empty() ? ": nothing" : ": " + said->calibration.id),
          kExitNotFinished);
    }
    if (refusal != proto::REFUSAL_NONE) {
      return terminal_.complain("the jig refuses to keep the calibration: " + proto::Refusal_Name(refusal),
                                kExitNotFinished);
    }
    const auto& wrote = command->store_calibration();
    if (said->calibration.id != wrote.calibration_id() || said->calibration.content != wrote.content()) {
      return terminal_.complain("what the jig reads back is not what was written: do not use it", kExitNotFinished);
    }
    out.set_stored(fmt::format("{}, {} bytes, read back the same", wrote.calibration_id(), wrote.content().size()));
    return 0;
  }

  void print(const proto::CalibrationCertificate& certificate) {
    if (certificate.simulated()) terminal_.out() << "SIMULATED: no real jig was calibrated.\n";
    std::vector<std::vector<std::string>> rows;
    for (const proto::ChannelCertificate& channel : certificate.channels()) {
      const bool used = channel.outcome() == "calibrated";
      rows.push_back({channel.channel(), channel.outcome(), used ? fmt::format("{:.6f}", channel.gain()) : "-",
                      used ? fmt::format("{:+.3f} m{}", 1e3 * channel.offset(), channel.unit()) : "-",
                      used ? fmt::format("{:.2f} m{} at {:g} {}", 1e3 * channel.expanded(), channel.unit(),
                                         channel.at(), channel.unit())
                           : "-",
                      channel.reason() + (channel.remarks().empty() ? "" : channel.remarks(0))});
    }
    terminal_.out() << fmt::format("Calibration {} of jig {}, {}, due {}, against {}.\n", certificate.calibration_id(),
                                   certificate.jig_id(), certificate.date(), certificate.due(), certificate.meter())
                    << report::text_table({"channel", "outcome", "gain", "offset", "U", ""}, rows)
                    << "In the jig: " << certificate.stored() << ".\n";
  }

  std::expected<void, std::string> write(const proto::CalibrationCertificate& certificate) {
    const std::string tag = certificate.simulated() ? " (simulated): " : ": ";
    if (!options_.common.page.empty()) {
      const std::string style(data::shipped("texts/report.css").value_or(""));
      if (auto done = write_file(options_.common.page, report::certificate_page(certificate, style)); !done)
        return done;
      terminal_.out() << "Certificate" << tag << options_.common.page << '\n';
    }
    if (options_.common.json.empty()) return {};
    const auto json = report::to_json(certificate);
    if (!json) return std::unexpected(json.error());
    return write_file(options_.common.json, *json);
  }

  const CalibrateOptions& options_;
  Compared compared_;
  Terminal& terminal_;
  const Interrupt& interrupt_;
  proto::Hello hello_;
  std::string path_;
  proto::CalibrationProgress progress_;
};

void declare_common(CLI::App& verb, ComparisonOptions& options) {
  verb.add_option("--jig", options.jig, "Description of the jig: shipped ('reference', 'small') or a file")
      ->capture_default_str()
      ->type_name("FILE");
  verb.add_option("--baud", options.baud, "Speed of the line")
      ->capture_default_str()
      ->check(CLI::Range(9600, 12'000'000));
  verb.add_option("--meter", options.meter, "Description of the reference meter: 'bench' shows how, or a file")
      ->required()
      ->type_name("FILE");
  verb.add_option("--readings", options.readings, "The meter's readings, CSV: channel,reference[,jig][,direction]")
      ->type_name("FILE");
  verb.add_option("--channel", options.channels, "Only this channel; again for more")
      ->type_name("NAME")
      ->allow_extra_args(false);
  verb.add_flag("--together", options.together, "Taps of one rail are joined to one source and read at once");
  verb.add_option("--role", options.role, "Who takes the readings, by role")->capture_default_str()->type_name("ROLE");
  verb.add_option("--temperature", options.temperature_c, "Of the room, degrees Celsius")
      ->capture_default_str()
      ->type_name("NUMBER");
  verb.add_option("--json", options.json, "Write the certificate as JSON")->type_name("FILE");
  verb.add_option("--report", options.page, "Write the certificate, one HTML file")->type_name("FILE");
}

}  // namespace

void declare_calibrate(CLI::App& verb, CalibrateOptions& options) {
  verb.add_option("port", options.common.port, "The jig's port; left out: nothing is stored")->type_name("PORT");
  declare_common(verb, options.common);
  verb.add_option("--progress", options.progress, "How far it has come; it goes on from there after any interruption")
      ->type_name("FILE");
  verb.add_option("--id", options.id, "Of the calibration; by jig and day when left out")->type_name("TEXT");
  verb.add_option("--class", options.class_percent,
                  "U of a rail may be this share of it, %; by the build when left out")
      ->type_name("PERCENT");
  verb.add_flag("--may-erase", options.may_erase, "A full store may be erased: the jig stands still for half a second");
}

void declare_verify(CLI::App& verb, VerifyOptions& options) {
  verb.add_option("port", options.common.port, "The jig's port")->required()->type_name("PORT");
  declare_common(verb, options.common);
  verb.add_option("--history", options.history, "Earlier verifications of this calibration, as JSON; again for more")
      ->type_name("FILE")
      ->allow_extra_args(false);
}

int calibrate(const CalibrateOptions& options, Terminal& terminal, const Interrupt& interrupt) {
  terminal.print_caution();
  if (options.id.size() > kIdBytesMax) {
    return terminal.complain(fmt::format("--id: at most {} characters, as the jig keeps it", kIdBytesMax));
  }
  if (!(options.class_percent >= 0 && options.class_percent <= kClassMost)) {
    return terminal.complain(fmt::format("--class: above 0 and up to {} %", kClassMost));
  }
  const auto checked = check_outputs(
      {{"--json", options.common.json}, {"--report", options.common.page}, {"--progress", options.progress}},
      {options.common.readings});
  if (!checked) return terminal.complain(checked.error());
  auto compared = load_comparison(options.common);
  if (!compared) return terminal.complain(compared.error());
  return Calibration(options, std::move(*compared), terminal, interrupt).run();
}

}  // namespace host::app
