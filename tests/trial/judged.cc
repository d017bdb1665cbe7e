// SPDX-License-Identifier: Apache-2.0
#include "tests/trial/judged.h"

#include <time.h>

#include "host/app/configure.h"
#include "host/app/results.h"
#include "host/app/sha256.h"
#include "host/detect/arm.h"
#include "host/diagnose/lock_ups.h"
#include "host/model/jig_budget.h"

namespace trial {
namespace {

namespace proto = steadyrail::proto;

constexpr double kReactionS = 2;  // the decoder's allowance for a person's press of the button

double cpu_s() {
  timespec now{};
  ::clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) + 1e-9 * static_cast<double>(now.tv_nsec);
}

proto::RecordingHeader header_of(const Bench& bench, const Case& one) {
  proto::RecordingHeader header;
  header.set_simulated(true);
  *header.mutable_jig() = host::model::for_recording(bench.jig.description());
  *header.mutable_unit() = one.unit;
  header.set_edition(bench.judging.limits->set.edition());
  header.set_limits_sha256(host::app::sha256(bench.judging.limits->text));
  header.set_port("virtual");
  header.set_already_checked(true);
  *header.mutable_declaration() = host::diagnose::default_declaration();
  return header;
}

/// What the decoder would have said of a recording without loss.
proto::SessionResult described(const proto::RecordingHeader& header, const Truth& truth, double seconds) {
  proto::SessionResult out;
  out.set_simulated(true);
  const auto scans = static_cast<std::uint64_t>(scans_of(seconds) / 1024 * 1024);
  out.mutable_coverage()->set_scans_expected(scans);
  out.mutable_coverage()->set_scans_seen(scans);
  proto::SessionFacts& facts = *out.mutable_session();
  facts.set_jig_id(header.jig().id());
  facts.set_duration_s(static_cast<double>(scans) / kScansPerS);
  facts.set_ended("finished");
  for (const Scan press : truth.presses) {
    proto::SessionMark& mark = *facts.add_marks();
    mark.set_source("button");
    mark.set_lock_up(true);
    mark.set_placed(true);
    mark.set_from_s(static_cast<double>(press) / kScansPerS - kReactionS);
    mark.set_to_s(static_cast<double>(press) / kScansPerS);
  }
  return out;
}

/// Measures what passes through it.
class Timed : public host::decode::Sink {
 public:
  explicit Timed(host::decode::Sink& to) : to_(to) {}
  void windows(const host::decode::WindowBatch& batch) override {
    const double begin = cpu_s();
    to_.windows(batch);
    spent_ += cpu_s() - begin;
  }
  void capture(const host::decode::CaptureBatch& batch) override { to_.capture(batch); }
  void event(const proto::Event& event) override { to_.event(event); }
  double spent_s() const { return spent_; }

 private:
  host::decode::Sink& to_;
  double spent_ = 0;
};

}  // namespace

std::expected<Bench, std::string> Bench::create() {
  auto jig = host::app::load_jig("reference");
  if (!jig) return std::unexpected(jig.error());
  auto judging = host::app::load_judging({.limits = {}, .unit = "u-1"}, std::nullopt, "");
  if (!judging) return std::unexpected(judging.error());
  if (!judging->limits) return std::unexpected("the unit names no edition");
  return Bench{std::move(*jig), std::move(*judging)};
}

std::expected<Judged, std::string> judge_case(const Bench& bench, std::string_view kind, const Case& one) {
  const double begin = cpu_s();
  host::app::Judging judging = bench.judging;
  judging.unit = one.unit;
  const proto::RecordingHeader header = header_of(bench, one);
  host::detect::Review review(host::app::detectors(judging));
  review.header(header);
  Timed timed(review);
  Session session(one.plan, bench.jig, host::app::configuration(bench.jig, bench.baud),
                  host::detect::arm_limits(bench.jig, &judging.limits->set));
  session.feed(timed);
  review.finish();
  Judged out;
  out.generated_cpu_s = cpu_s() - begin - timed.spent_s();
  out.truth = session.truth();
  auto finished = host::app::join_result(review, described(header, out.truth, one.plan.seconds), header, judging, "");
  if (!finished) return std::unexpected(finished.error());
  out.result = std::move(finished->result);
  out.expected = expected(kind, out.truth, bench.jig, judging.limits->set);
  out.cpu_s = cpu_s() - begin;
  return out;
}

}  // namespace trial
