// SPDX-License-Identifier: Apache-2.0
#include "tests/unit/firmware/jig_fixture.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "proto/wire/frame.h"

namespace firmware::testing {

std::size_t MemoryLine::try_write(std::span<const std::byte> sent) {
  const std::size_t taken = std::min(sent.size(), budget);
  bytes.insert(bytes.end(), sent.begin(), sent.begin() + static_cast<std::ptrdiff_t>(taken));
  if (budget != SIZE_MAX) budget -= taken;
  return taken;
}

MemoryStore::MemoryStore() {
  identity_.jig_id = "J-01";
  identity_.firmware = "test";
  identity_.channel_names.fill("channel");
}

ScanBlock block_of(std::uint64_t first_scan, const Signal& signal) {
  ScanBlock block;
  block.first_scan = first_scan;
  for (std::uint32_t s = 0; s < wire::kScansPerBlock; ++s) {
    for (std::size_t c = 0; c < wire::kChannelCount; ++c) block.codes[s][c] = signal(first_scan + s, c);
  }
  return block;
}

std::vector<std::byte> framed(std::string_view payload) {
  std::vector<std::byte> frame(wire::cobs_bytes_max(payload.size() + wire::kCrcBytes) + 1);
  frame.resize(wire::encode_frame(std::as_bytes(std::span(payload)), frame));
  return frame;
}

JigFixture::JigFixture(Mode mode, std::uint32_t sequence, BoardWatch* watch) {
  outputs.mode = mode;
  jig_ = std::make_unique<Jig>(Board{.transmitter = line,
                                     .gates = outputs,
                                     .ps_on = outputs,
                                     .mode_link = outputs,
                                     .watchdog = outputs,
                                     .store = store,
                                     .watch = watch,
                                     .source = &outputs},
                               sequence);
  send_bytes(std::array{wire::kDelimiter});
}

void JigFixture::send(proto::HostToJig command) {
  if (command.id() == 0) command.set_id(++last_id);
  send_bytes(framed(command.SerializeAsString()));
}

void JigFixture::send_bytes(std::span<const std::byte> bytes) {
  for (const std::byte value : bytes) jig_->on_byte(value);
  talk();
}

void JigFixture::identify() {
  proto::HostToJig command;
  command.mutable_identify();
  send(command);
}

void JigFixture::configure(std::uint32_t scans_per_window, std::uint32_t line_bytes_per_s) {
  proto::HostToJig command;
  command.mutable_configure()->set_scans_per_window(scans_per_window);
  command.mutable_configure()->set_line_bytes_per_s(line_bytes_per_s);
  send(command);
}

void JigFixture::start() {
  proto::HostToJig command;
  command.mutable_start();
  send(command);
}

void JigFixture::stop() {
  proto::HostToJig command;
  command.mutable_stop();
  send(command);
}

void JigFixture::keep_alive() {
  proto::HostToJig command;
  command.mutable_keep_alive();
  send(command);
}

void JigFixture::describe_load_bank(const std::function<void(proto::DescribeLoadBank&)>& change) {
  proto::HostToJig command;
  *command.mutable_describe_load_bank() = ample_load_bank();
  if (change) change(*command.mutable_describe_load_bank());
  send(command);
}

void JigFixture::begin(const proto::Arm& arm, const std::function<void(proto::Configure&)>& change) {
  proto::HostToJig command;
  command.mutable_configure()->set_scans_per_window(32);
  command.mutable_configure()->set_line_bytes_per_s(200000);
  if (change) change(*command.mutable_configure());
  send(command);
  EXPECT_EQ(last_answer(heard()).refusal(), proto::REFUSAL_NONE);
  command = {};
  *command.mutable_arm() = arm;
  if (arm.set() != 0) send(command);
  start();
  EXPECT_EQ(last_answer(heard()).refusal(), proto::REFUSAL_NONE);
}

void JigFixture::play(const Signal& signal, std::size_t blocks, std::size_t bytes_per_block) {
  constexpr std::uint64_t kKeepAliveScans = 16000;
  for (std::size_t k = 0; k < blocks; ++k) {
    ScanBlock block = block_of(next_scan_, signal);
    for (const LineEdge& edge : edges_) block.edges[block.edge_count++] = edge;
    edges_.clear();
    line.budget = bytes_per_block;
    jig_->on_block(block);
    next_scan_ += wire::kScansPerBlock;
    if (next_scan_ % kKeepAliveScans < wire::kScansPerBlock) keep_alive();
    talk();
  }
  line.budget = SIZE_MAX;
}

void JigFixture::talk() {
  while (jig_->pump()) {
  }
}

std::vector<HeardFrame> JigFixture::heard() {
  std::vector<HeardFrame> frames = frames_in(line.bytes);
  const auto last = std::find(line.bytes.rbegin(), line.bytes.rend(), wire::kDelimiter);
  line.bytes.erase(line.bytes.begin(), last.base());
  return frames;
}

std::vector<HeardFrame> frames_in(const std::vector<std::byte>& bytes) {
  std::vector<HeardFrame> frames;
  std::vector<std::byte> payload(wire::kFrameBytesMax);
  auto begin = bytes.begin();
  for (auto end = std::find(begin, bytes.end(), wire::kDelimiter); end != bytes.end();
       end = std::find(begin, bytes.end(), wire::kDelimiter)) {
    const auto decoded = wire::decode_frame({begin, end}, payload);
    HeardFrame frame;
    frame.frame_bytes = static_cast<std::size_t>(end - begin) + 1;
    begin = end + 1;
    EXPECT_TRUE(decoded.has_value());
    if (!decoded) continue;
    EXPECT_TRUE(frame.message.ParseFromArray(decoded->data(), static_cast<int>(decoded->size())));
    frames.push_back(frame);
  }
  return frames;
}

std::vector<proto::JigToHost> of_kind(const std::vector<HeardFrame>& frames, proto::JigToHost::ContentCase kind) {
  std::vector<proto::JigToHost> found;
  for (const HeardFrame& frame : frames) {
    if (frame.message.content_case() == kind) found.push_back(frame.message);
  }
  return found;
}

std::vector<proto::Event> events_of(const std::vector<HeardFrame>& frames, proto::Event::KindCase kind) {
  std::vector<proto::Event> found;
  for (const proto::JigToHost& message : of_kind(frames, proto::JigToHost::kEvent)) {
    if (message.event().kind_case() == kind) found.push_back(message.event());
  }
  return found;
}

proto::Acknowledgement last_answer(const std::vector<HeardFrame>& frames) {
  const auto answers = of_kind(frames, proto::JigToHost::kAcknowledgement);
  EXPECT_FALSE(answers.empty());
  return answers.empty() ? proto::Acknowledgement{} : answers.back().acknowledgement();
}

wire::DecodedWindows windows_of(const proto::JigToHost& message) {
  wire::DecodedWindows windows{};
  const auto decoded =
      wire::decode_windows(std::as_bytes(std::span(message.body())), message.windows().scans_per_window(),
                           message.windows().window_count(), windows);
  EXPECT_TRUE(decoded.has_value());
  windows.window_count = message.windows().window_count();
  return windows;
}

proto::DescribeLoadBank ample_load_bank() {
  proto::DescribeLoadBank bank;
  for (std::uint32_t gate = 0; gate < 8; ++gate) {
    proto::LoadBranch& branch = *bank.add_branches();
    branch.set_gate(gate);
    branch.set_current_ma(6000);
    branch.set_power_mw(72000);
    branch.set_group(gate / 4);
    branch.set_on_time_ms_max(60000);
    branch.set_channel(10 + gate);
    branch.set_idle_code(1000);
    branch.set_level_codes(1000);
  }
  bank.add_group_current_ma_max(24000);
  bank.add_group_current_ma_max(24000);
  bank.set_power_mw_max(600000);
  bank.set_energy_j_max(1000000);
  bank.set_repetition_hz_max(10000);
  return bank;
}

proto::ArmedLimit low_limit(std::uint32_t channel, std::int32_t code, std::uint32_t least_scans) {
  proto::ArmedLimit limit;
  limit.set_channel(channel);
  limit.set_side(proto::SIDE_LOW);
  limit.set_code(code);
  limit.set_release_code(code + 1);
  limit.set_keep_code(-40000);
  limit.set_least_scans(least_scans);
  return limit;
}

}  // namespace firmware::testing
