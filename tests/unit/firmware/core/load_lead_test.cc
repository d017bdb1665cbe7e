// SPDX-License-Identifier: Apache-2.0
// A board that must be told of an edge ahead of time gets it told, and the edge is stamped with the scan it happens at.
#include <gtest/gtest.h>

#include "firmware/core/load_sequencer.h"
#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

namespace proto = steadyrail::proto;
constexpr std::uint32_t kLead = 160;

class LeadingGates : public testing::MemoryOutputs {
 public:
  std::uint32_t lead_scans() const override { return kLead; }
};

TEST(LoadLeadTest, EdgesAreToldAheadAndStampedWithTheirScan) {
  testing::MemoryLine line;
  testing::MemoryStore store;
  LeadingGates outputs;
  outputs.mode = Mode::kBench;
  Jig jig({.transmitter = line,
           .gates = outputs,
           .ps_on = outputs,
           .mode_link = outputs,
           .watchdog = outputs,
           .store = store});
  std::uint32_t id = 0;
  const auto send = [&](proto::HostToJig command) {
    command.set_id(++id);
    jig.on_byte(std::byte{0});
    for (const std::byte value : testing::framed(command.SerializeAsString())) jig.on_byte(value);
    while (jig.pump()) {
    }
  };
  proto::HostToJig command;
  command.mutable_configure()->set_scans_per_window(32);
  command.mutable_configure()->set_line_bytes_per_s(200000);
  send(command);
  proto::DescribeLoadBank& bank = *command.mutable_describe_load_bank();
  proto::LoadBranch& branch = *bank.add_branches();
  branch.set_gate(1);
  branch.set_current_ma(6000);
  branch.set_power_mw(72000);
  branch.set_on_time_ms_max(1000);
  bank.add_group_current_ma_max(6000);
  bank.set_power_mw_max(72000);
  bank.set_energy_j_max(100);
  bank.set_repetition_hz_max(1);
  send(command);
  command.mutable_load_steps();
  auto* step = command.mutable_load_steps()->add_steps();
  step->set_gate(1);
  step->set_on(true);
  step->set_after_us(2000);
  send(command);
  for (std::uint64_t scan = 0; scan < 5 * wire::kScansPerBlock; scan += wire::kScansPerBlock) {
    jig.on_block(testing::block_of(scan, [](std::uint64_t, std::size_t) { return std::int16_t{0}; }));
  }
  while (jig.pump()) {
  }
  EXPECT_EQ(outputs.gates, 0b10U);
  // It begins with the first block not yet loaded when the command came, 32 scans beyond the lead, and is 2 ms later.
  EXPECT_EQ(outputs.gates_from_scan, 32U + 64U + kLead);
  const auto edges = testing::events_of(testing::frames_in(line.bytes), proto::Event::kEdge);
  ASSERT_EQ(edges.size(), 1U);
  EXPECT_EQ(edges[0].edge().scan(), 32U + 64U + kLead);
}

}  // namespace
}  // namespace firmware
