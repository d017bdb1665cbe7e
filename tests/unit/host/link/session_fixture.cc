// SPDX-License-Identifier: Apache-2.0
#include "tests/unit/host/link/session_fixture.h"

#include <unistd.h>

#include "host/decode/review_file.h"

namespace host::link {

using namespace std::chrono_literals;

SessionTest::SessionTest()
    : path_(std::filesystem::temp_directory_path() / ("session_test_" + std::to_string(::getpid()) + ".steadyrail")) {
  std::filesystem::remove(path_);
  options_.configure.set_scans_per_window(32);
  options_.duration = 200ms;
  options_.times.hello_timeout = 150ms;
  options_.times.hello_tries = 4;
  options_.times.acknowledge_timeout = 150ms;
  options_.times.reconnect_every = 10ms;
  options_.times.reconnect_for = 0ms;
  options_.times.drain_quiet = 50ms;
  options_.times.drain_silence = 200ms;
  header_.mutable_jig()->set_scan_rate_hz(32'000);
}

SessionTest::~SessionTest() {
  std::filesystem::remove(path_);
}

std::expected<SessionReport, LinkError> SessionTest::run(const std::string& port) {
  options_.port = port;
  auto writer = record::Writer::create(path_, header_);
  EXPECT_TRUE(writer.has_value());
  Session session(options_, header_, clock_, writer->get(), decoder_, happened_);
  session_ = &session;
  return session.run();
}

LinkError SessionTest::error_of(const std::string& port) {
  const auto report = run(port);
  EXPECT_FALSE(report.has_value());
  EXPECT_FALSE(std::filesystem::exists(path_)) << "nothing was recorded";
  return report ? LinkError{} : report.error();
}

steadyrail::proto::SessionResult SessionTest::expect_review_agrees() {
  testing_jig::Told reviewed;
  reviewed.scan_offset = told_.scan_offset;
  const auto result = decode::review_file(path_, reviewed);
  EXPECT_TRUE(result.has_value());
  EXPECT_EQ(told_.lines(), reviewed.lines());
  EXPECT_TRUE(told_.in_order());
  return result.value_or(steadyrail::proto::SessionResult());
}

}  // namespace host::link
