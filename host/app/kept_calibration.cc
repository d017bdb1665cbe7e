// SPDX-License-Identifier: Apache-2.0
#include "host/app/kept_calibration.h"

#include <fmt/format.h>

#include "host/model/calibration_record.h"
#include "host/model/jig_budget.h"

namespace host::app {

namespace proto = steadyrail::proto;

KeptJig with_kept_calibration(const model::Jig& described, const link::KeptCalibration& kept) {
  proto::JigDescription description = model::for_recording(described.description());
  const std::string told = description.calibration().id();
  description.clear_calibration();
  std::string remark;
  if (kept.id.empty()) {
    remark = "the jig holds no calibration: nothing will be decided ('steadyrail calibrate')";
  } else if (auto calibration = model::read_calibration_record(kept.id, std::as_bytes(std::span(kept.content)),
                                                               described.description());
             !calibration) {
    remark = calibration.error() + ": nothing will be decided";
  } else {
    *description.mutable_calibration() = std::move(*calibration);
    if (!told.empty() && told != kept.id) {
      remark =
          fmt::format("the jig holds calibration {}, its description names {}: the jig's own counts", kept.id, told);
    }
  }
  auto jig = model::Jig::from_description(description, "the jig's calibration");
  if (jig) return {std::move(*jig), std::move(remark)};
  // Sound by its checksum, but no calibration of this description: said, and left out.
  remark = model::to_string(jig.error()) + ": nothing will be decided";
  description.clear_calibration();
  return {model::Jig::from_description(description, "jig").value_or(described), std::move(remark)};
}

std::expected<proto::HostToJig, std::string> store_command(const proto::JigDescription& jig, bool may_erase) {
  auto content = model::calibration_record(jig);
  if (!content) return std::unexpected(content.error());
  proto::HostToJig command;
  command.mutable_store_calibration()->set_calibration_id(jig.calibration().id());
  command.mutable_store_calibration()->set_content(std::move(*content));
  command.mutable_store_calibration()->set_may_erase(may_erase);
  return command;
}

std::expected<link::Conversation, std::string> give_calibration(const link::SessionOptions& line,
                                                                const model::Jig& jig) {
  std::vector<proto::HostToJig> commands;
  if (!jig.description().calibration().channels().empty()) {
    auto store = store_command(jig.description(), true);
    if (!store) return std::unexpected(store.error());
    commands.push_back(std::move(*store));
  }
  auto said = link::converse(line, std::move(commands));
  if (!said) return std::unexpected(said.error().message);
  return std::move(*said);
}

}  // namespace host::app
