// SPDX-License-Identifier: Apache-2.0
#include "host/report/json.h"

#include <unistd.h>

#include <cstdio>
#include <fstream>
#include <limits>
#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "link.pb.h"
#include "tests/unit/host/report/result_fixture.h"

namespace host::report {
namespace {

using testing::HasSubstr;

/// Runs Python's own json module over `json` with `check` (statements; `v` is the parsed value) and returns its output.
std::string python(const std::string& json, const std::string& check) {
  const std::string path = testing::TempDir() + "json_test_" + std::to_string(getpid()) + ".json";
  std::ofstream(path, std::ios::binary) << json;
  const std::string command =
      "/usr/bin/python3 -c 'import json,sys\nv=json.load(open(sys.argv[1],encoding=\"utf-8\"))\n" + check + "' " +
      path + " 2>&1";
  std::string out;
  FILE* pipe = popen(command.c_str(), "r");
  char buffer[4096];
  for (std::size_t got = 0; (got = fread(buffer, 1, sizeof buffer, pipe)) > 0;) out.append(buffer, got);
  pclose(pipe);
  std::remove(path.c_str());
  return out;
}

TEST(JsonTest, PrintsEveryNamedFieldOfAnEmptyResult) {
  // The names are those the documentation of the result promises to other programs.
  const auto json = to_json(steadyrail::proto::SessionResult{});
  ASSERT_TRUE(json.has_value());
  EXPECT_EQ(python(*json,
                   "print(v[\"simulated\"],v[\"conclusion\"],repr(v[\"edition\"]),v[\"verdicts\"],v[\"events\"],"
                   "v[\"coverage\"][\"scansExpected\"],v[\"coverage\"][\"gaps\"])"),
            "False not-tested '' [] [] 0 []\n");
}

TEST(JsonTest, PrintsEveryNamedFieldOfVerdictsEventsAndCoverage) {
  const HandMadeSession session;
  const auto json = to_json(session.result);
  ASSERT_TRUE(json.has_value());
  const std::string names =
      "need=lambda o,n:[k for k in n.split() if k not in o]\n"
      "print(need(v,\"simulated conclusion edition verdicts events coverage\"),"
      "[need(x,\"channel rail quantity value unit expandedUncertainty limit limitStatus withinRating decision\")"
      " for x in v[\"verdicts\"]],"
      "[need(x,\"kind channel startS startUncertaintyS durationS extremeV expandedUncertaintyV depthV areaVs source"
      " withinRating decision truncated\") for x in v[\"events\"]],"
      "need(v[\"coverage\"],\"scansExpected scansSeen framesDamaged bytesDiscarded gaps\"),"
      "need(v,\"outputResistances crossRegulation contactResistances returnDrops jigBurdens rippleBounds\"),"
      "need(v[\"outputResistances\"][0],\"value unit intervalLow intervalHigh points levels refusal source\"),"
      "need(v[\"contactResistances\"][0],\"value unit intervalLow intervalHigh excess heatW points refusal source\"),"
      "[need(x,\"startS endS cause\") for x in v[\"coverage\"][\"gaps\"]])";
  EXPECT_EQ(python(*json, names), "[] [[], [], [], []] [[], [], []] [] [] [] [] [[]]\n");
}

TEST(JsonTest, WritesWordsInLowerCaseWithHyphensAndWithoutTheTypesPrefix) {
  const HandMadeSession session;
  const auto json = to_json(session.result);
  ASSERT_TRUE(json.has_value());
  EXPECT_THAT(*json, HasSubstr("\"limitStatus\": \"from-memory\""));
  EXPECT_THAT(*json, HasSubstr("\"decision\": \"not-tested\""));
  EXPECT_THAT(*json, HasSubstr("\"kind\": \"load-step\""));
  EXPECT_THAT(*json, HasSubstr("\"cause\": \"damaged\""));
  EXPECT_THAT(*json, HasSubstr("\"source\": \"chip\""));
}

TEST(JsonTest, NamesAnEnumNumberThatTheSchemaDoesNotKnow) {
  steadyrail::proto::SessionResult result;
  result.set_conclusion(static_cast<steadyrail::proto::Conclusion>(77));
  EXPECT_THAT(*to_json(result), HasSubstr("\"unrecognised-77\""));
}

TEST(JsonTest, PrintsOptionalFiguresThatAreNotThereAsNullAndKeepsThoseThatAreZero) {
  steadyrail::proto::SessionResult result;
  result.add_events()->set_step_a(0);
  const auto json = to_json(result);
  ASSERT_TRUE(json.has_value());
  EXPECT_THAT(*json, HasSubstr("\"stepA\": 0"));
  EXPECT_THAT(*json, HasSubstr("\"undershootV\": null"));
  result.add_verdicts();
  EXPECT_EQ(python(*to_json(result), "print(v[\"verdicts\"][0][\"value\"])"), "None\n");
}

TEST(JsonTest, PrintsCountsOf64BitsAsNumbers) {
  steadyrail::proto::SessionResult result;
  result.mutable_coverage()->set_scans_expected(std::numeric_limits<std::uint64_t>::max());
  EXPECT_EQ(python(*to_json(result), "print(v[\"coverage\"][\"scansExpected\"]==2**64-1)"), "True\n");
}

TEST(JsonTest, DoublesReadBackToTheSameBits) {
  steadyrail::proto::SessionResult result;
  for (const double value : {0.1, 1.0 / 3, 5e-324, 1.7976931348623157e308, -0.0, 12.0, 1e22, 123456789012345680.0}) {
    result.add_verdicts()->set_value(value);
  }
  EXPECT_EQ(python(*to_json(result),
                   "print([float(x[\"value\"]).hex() for x in v[\"verdicts\"]]==[x.hex() for x in "
                   "[0.1,1/3,5e-324,1.7976931348623157e308,-0.0,12.0,1e22,123456789012345680.0]])"),
            "True\n");
}

TEST(JsonTest, RefusesANumberThatIsNotFiniteAndNamesItsField) {
  steadyrail::proto::SessionResult result;
  result.add_verdicts();
  result.add_verdicts()->set_limit(std::numeric_limits<double>::quiet_NaN());
  const auto json = to_json(result);
  ASSERT_FALSE(json.has_value());
  EXPECT_EQ(json.error(), "verdicts[1].limit is not a finite number");
}

TEST(JsonTest, RefusesBytes) {
  steadyrail::proto::JigToHost message;
  message.set_body("x");
  EXPECT_FALSE(to_json(message).has_value());
}

TEST(JsonTest, EscapesWhatPythonReadsBack) {
  // Quote, backslash, every control character, DEL, two- to four-byte characters.
  std::string hostile = "\"\\/\x7f\xC3\xA9\xE2\x82\xAC\xF0\x9F\x94\x8C";
  for (char control = 0; control < 0x20; ++control) hostile += control;
  steadyrail::proto::SessionResult result;
  result.mutable_session()->set_question(hostile);
  EXPECT_EQ(python(*to_json(result),
                   "print(v[\"session\"][\"question\"]==\"\\\"\\\\/\\x7f\\u00e9\\u20ac\\U0001f50c\"+"
                   "\"\".join(map(chr,range(32))))"),
            "True\n");
}

TEST(JsonTest, ReplacesWhatIsNotUtf8) {
  // RFC 3629: overlong "/", a surrogate, beyond U+10FFFF, a lone tail, a sequence that ends early.
  for (const char* bad : {"\xC0\xAF", "\xED\xA0\x80", "\xF4\x90\x80\x80", "\x80", "\xE2\x82"}) {
    EXPECT_THAT(json_string(bad), HasSubstr("\xEF\xBF\xBD")) << testing::PrintToString(bad);
    EXPECT_EQ(python(json_string(bad), "print(set(v)=={\"\\ufffd\"})"), "True\n");
  }
}

TEST(JsonTest, IsTheSameEveryTime) {
  EXPECT_EQ(*to_json(HandMadeSession{}.result), *to_json(HandMadeSession{}.result));
}

}  // namespace
}  // namespace host::report
