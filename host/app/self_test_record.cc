// SPDX-License-Identifier: Apache-2.0
#include "host/app/self_test_record.h"

#include <cstdlib>
#include <filesystem>

#include <fmt/format.h>
#include <google/protobuf/text_format.h>

#include "host/app/outputs.h"
#include "host/app/sha256.h"
#include "host/model/text.h"

namespace host::app {

namespace proto = steadyrail::proto;

std::string self_test_file(const std::string& jig_id, bool simulated) {
  std::filesystem::path folder;
  // The state of a user's programs has its place by the XDG base directory specification 0.8.
  if (const char* state = std::getenv("XDG_STATE_HOME"); state != nullptr && *state == '/') {
    folder = state;
  } else {
    const char* home = std::getenv("HOME");
    folder = std::filesystem::path(home == nullptr ? "." : home) / ".local/state";
  }
  // An id is what a description says: no part of it may lead elsewhere.
  std::string name = jig_id;
  for (char& letter : name) letter = letter == '/' || letter == '\0' ? '_' : letter;
  return (folder / "steadyrail" / ("self-test-" + name + (simulated ? "-virtual" : "") + ".textproto")).string();
}

std::string built_sha256(const model::Jig& jig) {
  proto::JigDescription built = jig.description();
  built.clear_calibration();
  built.clear_budgets();
  std::string text;
  google::protobuf::TextFormat::PrintToString(built, &text);
  return sha256(text);
}

std::expected<void, std::string> keep_self_test(const std::string& file, const proto::SelfTestReport& report) {
  std::error_code fault;
  const std::filesystem::path folder = std::filesystem::path(file).parent_path();
  if (!folder.empty()) std::filesystem::create_directories(folder, fault);
  if (fault) return std::unexpected(fmt::format("{}: {}", folder.string(), fault.message()));
  std::string text;
  google::protobuf::TextFormat::PrintToString(report, &text);
  return write_file(file, text);
}

std::string self_test_refusal(const std::string& file, const model::Jig& jig, const proto::Hello& hello,
                              std::uint32_t boot) {
  constexpr const char* kRun = "run 'steadyrail selftest' first";
  std::error_code fault;
  if (!std::filesystem::exists(file, fault)) {
    return fmt::format("no self-test of jig {} is kept in {}: {}", hello.jig_id(), file, kRun);
  }
  const auto text = model::read_file(file);
  if (!text) return model::to_string(text.error());
  proto::SelfTestReport report;
  if (const auto parsed = model::parse_text(*text, file, report); !parsed) return model::to_string(parsed.error());
  if (report.jig() != hello.jig_id() || report.simulated() != hello.simulated()) {
    return fmt::format("the self-test in {} is of another jig, {}: {}", file, report.jig(), kRun);
  }
  if (report.boot() != boot) {
    return fmt::format("the jig was switched on or reset since its self-test (start {}, now {}): {}", report.boot(),
                       boot, kRun);
  }
  if (report.firmware() != hello.firmware()) {
    return fmt::format("the jig was tested with firmware {}, it runs {}: {}", report.firmware(), hello.firmware(),
                       kRun);
  }
  if (report.description_sha256() != built_sha256(jig)) {
    return fmt::format("the description of {} has changed since its self-test: {}", hello.jig_id(), kRun);
  }
  if (report.outcome() != proto::TEST_OUTCOME_PASS) {
    return "the jig's self-test did not pass: put right what it named, and run it again";
  }
  return "";
}

}  // namespace host::app
