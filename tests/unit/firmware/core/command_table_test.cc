// SPDX-License-Identifier: Apache-2.0
// Every command in every state and mode, held against the table that proto/wire.md prints.
#include <gtest/gtest.h>

#include <array>
#include <fstream>
#include <map>
#include <sstream>
#include <string>
#include <vector>

#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

namespace proto = steadyrail::proto;
using testing::JigFixture;

class FakeWatch : public BoardWatch {
 public:
  Alarm alarm() override { return standing; }
  BoardReadings readings() const override { return {.stack_free_bytes = 1000}; }
  Alarm standing = Alarm::kNone;
};

constexpr std::array kStates = {"idle", "configured", "running", "cause stands", "cause stands, running", "outputs on"};

/// A jig brought into a state, the load bank described where the mode allows it.
class StatedJig {
 public:
  StatedJig(Mode mode, const std::string& state) : jig(mode, 0, &watch) {
    jig.describe_load_bank();
    if (state != "idle") jig.configure();
    if (state.ends_with("running")) {
      jig.start();
      jig.play([](std::uint64_t, std::size_t) { return std::int16_t{0}; }, 1);
    }
    if (state.starts_with("cause")) {
      watch.standing = Alarm::kFanOrThermal;
      jig.jig().on_no_block();
      watch.standing = Alarm::kNone;
    }
    if (state == "outputs on") {
      proto::HostToJig command;
      command.mutable_drive_ps_on()->set_on(true);
      jig.send(command);
    }
    jig.heard();
    EXPECT_EQ(jig.health().running, state.ends_with("running"));
    EXPECT_EQ(jig.health().safety_cause != SafetyCause::kNone, state.starts_with("cause"));
    EXPECT_EQ(jig.health().ps_on_driven, state == "outputs on");
  }
  FakeWatch watch;
  JigFixture jig;
};

std::map<std::string, proto::HostToJig> commands() {
  std::map<std::string, proto::HostToJig> commands;
  commands["Identify"].mutable_identify();
  commands["Configure"].mutable_configure()->set_scans_per_window(32);
  commands["Configure"].mutable_configure()->set_line_bytes_per_s(200000);
  commands["Arm"].mutable_arm()->set_set(1);
  commands["Start"].mutable_start();
  commands["Stop"].mutable_stop();
  *commands["DescribeLoadBank"].mutable_describe_load_bank() = testing::ample_load_bank();
  commands["LoadSteps"].mutable_load_steps()->add_steps()->set_on(true);
  commands["DrivePsOn"].mutable_drive_ps_on()->set_on(true);
  commands["KeepAlive"].mutable_keep_alive();
  commands["StreamRaw"].mutable_stream_raw()->set_channel_mask(1);
  proto::StoreIdentity& identity = *commands["StoreIdentity"].mutable_store_identity();
  identity.set_jig_id("J-01");
  for (int c = 0; c < 24; ++c) identity.add_channel_names("c");
  for (int line = 0; line < 4; ++line) identity.add_line_channels(1);
  commands["StoreCalibration"].mutable_store_calibration()->set_calibration_id("bench B2");
  commands["ReadCalibration"].mutable_read_calibration();
  proto::JoinSource& source = *commands["JoinSource"].mutable_join_source();
  source.set_outputs(1);
  for (int c = 0; c < 24; ++c) {
    source.add_least_code(-10);
    source.add_most_code(10);
  }
  commands["(none known)"].set_id(77);
  return commands;
}

std::vector<std::string> cells_of(const std::string& line) {
  std::vector<std::string> cells;
  std::istringstream in(line.substr(1));
  for (std::string cell; std::getline(in, cell, '|');) {
    const auto begin = cell.find_first_not_of(' ');
    if (begin != std::string::npos) cells.push_back(cell.substr(begin, cell.find_last_not_of(' ') - begin + 1));
  }
  return cells;
}

/// By command, the answers in the order of kStates.
std::map<std::string, std::vector<std::string>> printed_table() {
  std::ifstream file(STEADYRAIL_SOURCE_DIR "/proto/wire.md");
  std::map<std::string, std::vector<std::string>> table;
  bool inside = false;
  for (std::string line; std::getline(file, line);) {
    if (line.starts_with("| command | idle |")) {
      const std::vector<std::string> head = cells_of(line);
      EXPECT_EQ(std::vector<std::string>(head.begin() + 1, head.end()),
                std::vector<std::string>(kStates.begin(), kStates.end()));
      inside = true;
    } else if (inside && !line.starts_with("|")) {
      break;
    } else if (inside && !line.starts_with("|-")) {
      const std::vector<std::string> cells = cells_of(line);
      table[cells[0]] = {cells.begin() + 1, cells.end()};
    }
  }
  return table;
}

std::string word_of(proto::Refusal refusal) {
  return refusal == proto::REFUSAL_NONE ? "done" : proto::Refusal_Name(refusal).substr(std::string("REFUSAL_").size());
}

TEST(CommandTableTest, EveryCommandIsAnsweredAsPrintedInEveryStateAndMode) {
  const auto table = printed_table();
  const auto all = commands();
  EXPECT_EQ(table.size(), all.size());
  std::size_t answers = 0;
  for (const auto& [name, command] : all) {
    ASSERT_TRUE(table.contains(name)) << name << " is not in proto/wire.md";
    ASSERT_EQ(table.at(name).size(), kStates.size()) << name;
    for (const Mode mode : {Mode::kBench, Mode::kObserve, Mode::kUnknown}) {
      for (std::size_t k = 0; k < kStates.size(); ++k) {
        const bool bench = mode == Mode::kBench;
        if (!bench && std::string(kStates[k]) == "outputs on") continue;  // nothing can be on
        StatedJig stated(mode, kStates[k]);
        stated.jig.send(command);
        const std::string answer = word_of(testing::last_answer(stated.jig.heard()).refusal());
        const bool drives = name == "DescribeLoadBank" || name == "LoadSteps" || name == "DrivePsOn";
        EXPECT_EQ(answer, !bench && drives ? "WRONG_MODE" : table.at(name)[k])
            << name << ", " << kStates[k] << ", mode " << static_cast<int>(mode);
        stated.jig.play([](std::uint64_t, std::size_t) { return std::int16_t{0}; }, 3);
        EXPECT_TRUE(bench || (stated.jig.outputs.gates == 0 && !stated.jig.outputs.ps_on)) << name;
        ++answers;
      }
    }
  }
  EXPECT_EQ(answers, all.size() * (6 + 5 + 5));
}

}  // namespace
}  // namespace firmware
