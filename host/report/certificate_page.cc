// SPDX-License-Identifier: Apache-2.0
#include "host/report/certificate_page.h"

#include <vector>

#include <fmt/format.h>

#include "host/report/escape.h"
#include "host/report/markup.h"

namespace host::report {
namespace {

namespace proto = steadyrail::proto;

/// Title, caution and a section at a time; "simulated" wherever a page could be torn out.
class Page {
 public:
  Page(const std::string& title, bool simulated, std::string_view style) : simulated_(simulated) {
    const std::string whole = (simulated ? "Simulated: " : "") + title;
    out_ = "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n";
    out_ += fmt::format("<title>{}</title>\n<style>\n{}\n", html(whole), style);
    if (simulated) out_ += "@page { @top-right { content: \"Simulated: no real jig was calibrated\"; } }\n";
    out_ += fmt::format("</style>\n</head>\n<body>\n<header><p class=\"title\">{}</p></header>\n<main>\n", html(whole));
  }
  void section(std::string_view title, const std::string& body) {
    if (body.empty()) return;
    out_ += fmt::format("<section>\n<h2>{}{}</h2>\n{}</section>\n", html(title),
                        simulated_ ? " <span class=\"mark\">simulated</span>" : "", body);
  }
  std::string end() { return out_ + "</main>\n</body>\n</html>\n"; }

 private:
  bool simulated_;
  std::string out_;
};

std::string milli(double value, const std::string& unit) {
  return fmt::format("{:.3f} m{}", 1e3 * value, unit);
}

std::string head(const auto& certificate, std::vector<std::pair<std::string, std::string>> more) {
  std::vector<std::pair<std::string, std::string>> pairs = {{"Calibration", certificate.calibration_id()},
                                                            {"Jig", certificate.jig_id()},
                                                            {"Firmware", certificate.firmware()},
                                                            {"Date", certificate.date()}};
  pairs.insert(pairs.end(), more.begin(), more.end());
  pairs.insert(pairs.end(), {{"Temperature", fmt::format("{:g} °C", certificate.temperature_c())},
                             {"Reference meter", certificate.meter()},
                             {"It reads to", certificate.meter_uncertainty()},
                             {"Its own calibration holds until", certificate.meter_due()},
                             {"Taken by", certificate.role()}});
  return facts(pairs);
}

std::string remarks(const auto& list) {
  return list.empty() ? "" : bullets({list.begin(), list.end()});
}

std::string channels_table(const proto::CalibrationCertificate& certificate) {
  std::vector<std::vector<Cell>> rows;
  for (const proto::ChannelCertificate& channel : certificate.channels()) {
    const bool used = channel.outcome() == "calibrated";
    rows.push_back({{channel.channel()},
                    {channel.outcome()},
                    {used ? fmt::format("{:.9f}", channel.gain()) : ""},
                    {used ? fmt::format("{:.4f} m{}", 1e3 * channel.offset(), channel.unit()) : ""},
                    {used ? fmt::format("{} at {:g} {} (k = {:.2f})", milli(channel.expanded(), channel.unit()),
                                        channel.at(), channel.unit(), channel.k())
                          : ""},
                    {channel.reason()}});
  }
  return table({"channel", "outcome", "gain", "offset", "U, about 95 %", "why not"}, rows) +
         paragraph(
             "true value = gain × nominal reading + offset, by weighted least squares. A channel that is not "
             "calibrated decides nothing.");
}

std::string channel_body(const proto::ChannelCertificate& channel) {
  std::vector<std::vector<Cell>> points;
  for (int i = 0; i < channel.points_size(); ++i) {
    const proto::CalibrationPoint& point = channel.points(i);
    points.push_back({{point.direction()},
                      {fmt::format("{:.5f} {}", point.reference(), channel.unit()), "number"},
                      {fmt::format("{:.6f} {}", point.jig(), channel.unit()), "number"},
                      {milli(point.jig_sd(), channel.unit()), "number"},
                      {i < channel.residuals_size() ? milli(channel.residuals(i), channel.unit()) : "", "number"}});
  }
  std::vector<std::vector<Cell>> tests;
  for (const proto::ResidualTest& test : channel.tests()) {
    tests.push_back({{test.name()},
                     {test.has_chance() ? fmt::format("{:.3g}", test.chance()) : "not told"},
                     {milli(test.effect(), channel.unit())},
                     {test.outcome()},
                     {test.words()}});
  }
  std::string out = table({"direction", "meter", "jig, nominal", "scatter of one scan", "residual"}, points);
  out += facts(
      {{"Covariance matrix of gain and offset",
        fmt::format("[{:.4g}, {:.4g}; {:.4g}, {:.4g}]", channel.u_gain() * channel.u_gain(), channel.covariance(),
                    channel.covariance(), channel.u_offset() * channel.u_offset())},
       {"Correlation", fmt::format("{:.4f}", channel.correlation())},
       {"Degrees of freedom", fmt::format("{:g}", channel.dof())},
       {"Scatter about the line", milli(channel.residual_sd(), channel.unit())},
       {"u of the fit, the meter, self-heating, all but the fit",
        fmt::format("{}, {}, {}, {}", milli(channel.u_fit(), channel.unit()), milli(channel.u_meter(), channel.unit()),
                    milli(channel.u_self_heating(), channel.unit()), milli(channel.u_other(), channel.unit()))}});
  return out + table({"residuals", "by chance", "effect", "outcome", ""}, tests) + remarks(channel.remarks());
}

}  // namespace

std::string certificate_page(const proto::CalibrationCertificate& certificate, std::string_view style) {
  Page page("Certificate of calibration " + certificate.calibration_id(), certificate.simulated(), style);
  page.section("Calibration", head(certificate, {{"Due", certificate.due()}, {"In the jig", certificate.stored()}}) +
                                  remarks(certificate.remarks()));
  page.section("Caution", "<pre>" + html(certificate.caution()) + "</pre>\n");
  page.section("Channels", channels_table(certificate));
  for (const proto::ChannelCertificate& channel : certificate.channels()) {
    if (!channel.points().empty()) page.section(channel.channel(), channel_body(channel));
  }
  return page.end();
}

std::string certificate_page(const proto::VerificationCertificate& certificate, std::string_view style) {
  Page page("Verification of calibration " + certificate.calibration_id(), certificate.simulated(), style);
  page.section("Verification",
               head(certificate, {{"Calibrated", certificate.calibrated()}, {"Due", certificate.due()}}) +
                   remarks(certificate.remarks()));
  page.section("Caution", "<pre>" + html(certificate.caution()) + "</pre>\n");
  std::vector<std::vector<Cell>> points;
  for (const proto::VerifiedPoint& point : certificate.points()) {
    points.push_back({{point.channel()},
                      {fmt::format("{:.5f} {}", point.reference(), point.unit()), "number"},
                      {fmt::format("{:.5f} {}", point.jig(), point.unit()), "number"},
                      {milli(point.difference(), point.unit()), "number"},
                      {milli(point.expanded_jig(), point.unit()), "number"},
                      {milli(point.expanded_reference(), point.unit()), "number"},
                      {fmt::format("{:.2f}", point.e_n()), "number"},
                      {point.outcome()},
                      {point.reason()}});
  }
  page.section(
      "Points",
      table({"channel", "meter", "jig", "difference", "U of the jig", "U of the meter", "E_n", "outcome", ""}, points));
  std::vector<std::vector<Cell>> drifts;
  for (const proto::ChannelDrift& drift : certificate.drifts()) {
    const bool line = drift.has_per_year();
    drifts.push_back({{drift.channel()},
                      {fmt::format("{}", drift.verifications())},
                      {line ? fmt::format("{:.3f} m{}", 1e3 * drift.per_year(), drift.unit()) : "too few for a line"},
                      {line ? fmt::format("{:.3f} m{}, {:.3f} to {:.3f}", 1e3 * drift.predicted(), drift.unit(),
                                          1e3 * drift.predicted_low(), 1e3 * drift.predicted_high())
                            : ""},
                      {milli(drift.limit(), drift.unit())},
                      {fmt::format("{} ({})", drift.due(), drift.due_cause())}});
  }
  page.section("Drift", table({"channel", "on the line", "a year", "predicted for the calendar's due date, 95 %",
                               "may go to", "due"},
                              drifts));
  return page.end();
}

}  // namespace host::report
