// SPDX-License-Identifier: Apache-2.0
#include "host/app/live_setup.h"

#include "host/app/configure.h"
#include "host/app/kept_calibration.h"
#include "host/app/sha256.h"
#include "host/detect/arm.h"
#include "host/diagnose/lock_ups.h"
#include "host/model/jig_budget.h"

namespace host::app {

LiveSetup begin_setup(const model::Jig& jig, const Judging& judging, std::uint32_t baud) {
  LiveSetup setup;
  setup.judging = judging;
  if (judging.unit) *setup.header.mutable_unit() = *judging.unit;
  if (judging.limits) {
    setup.header.set_edition(judging.limits->set.edition());
    setup.header.set_limits_sha256(sha256(judging.limits->text));
  }
  *setup.header.mutable_declaration() = diagnose::default_declaration();
  setup.session.settings.baud = baud;
  setup.session.configure = configuration(jig, baud);
  setup.session.jig_id = jig.description().id();
  read_by(jig, setup);
  return setup;
}

void read_by(const model::Jig& jig, LiveSetup& setup) {
  *setup.header.mutable_jig() = model::for_recording(jig.description());
  setup.session.arm = detect::arm_limits(jig, setup.judging.limits ? &setup.judging.limits->set : nullptr);
}

std::expected<std::string, link::LinkError> read_by_kept_calibration(const model::Jig& described, LiveSetup& setup) {
  const auto asked = link::converse(setup.session, {});
  if (!asked) return std::unexpected(asked.error());
  KeptJig kept = with_kept_calibration(described, asked->calibration);
  read_by(kept.jig, setup);
  return std::move(kept.remark);
}

}  // namespace host::app
