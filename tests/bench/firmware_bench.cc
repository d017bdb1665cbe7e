// SPDX-License-Identifier: Apache-2.0
// What the firmware core costs a scan, and what of the line each kind of frame takes: quiet, in games, and in a storm
// of excursions. Times are of this machine; the shares and counts are of the firmware.
#include <fmt/core.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <map>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "firmware/app/jig.h"
#include "firmware/board/ram_store.h"
#include "link.pb.h"
#include "proto/wire/frame.h"
#include "tests/bench/bench_samples.h"

namespace {

namespace proto = steadyrail::proto;
using Clock = std::chrono::steady_clock;

constexpr std::size_t kBlocks = 8000;  // 8 s
constexpr std::uint32_t kLineBytesPerMs = 200;
constexpr std::size_t kGraphics1 = 16;

class BudgetedLine : public firmware::SerialTransmitter {
 public:
  std::size_t room() const override { return budget; }
  std::size_t try_write(std::span<const std::byte> sent) override {
    const std::size_t taken = std::min(sent.size(), budget);
    bytes.insert(bytes.end(), sent.begin(), sent.begin() + static_cast<std::ptrdiff_t>(taken));
    budget -= taken;
    return taken;
  }
  std::size_t budget = SIZE_MAX;
  std::vector<std::byte> bytes;
};

class Bench : public firmware::LoadGates,
              public firmware::PsOnDriver,
              public firmware::ModeLink,
              public firmware::Watchdog,
              public firmware::RamStore {
 public:
  bool queue_edge(const firmware::GateEdge&) override { return true; }
  void switch_off() override {}
  void drive(bool) override {}
  firmware::Mode read() override { return firmware::Mode::kObserve; }
  void feed() override {}
  std::uint32_t boot_count() const override { return 1; }
};

void send(firmware::Jig& jig, const proto::HostToJig& command) {
  const std::string payload = command.SerializeAsString();
  std::vector<std::byte> frame(wire::kFrameBytesMax);
  frame.resize(wire::encode_frame(std::as_bytes(std::span(payload)), frame));
  jig.on_byte(wire::kDelimiter);
  for (const std::byte value : frame) jig.on_byte(value);
}

void begin(firmware::Jig& jig, std::int16_t limit_code) {
  proto::HostToJig command;
  command.set_id(1);
  command.mutable_configure()->set_scans_per_window(32);
  command.mutable_configure()->set_line_bytes_per_s(kLineBytesPerMs * 1000);
  for (const std::uint32_t channel : {10U, 11U, 12U, 15U, 19U, 20U, 21U}) {
    auto* trigger = command.mutable_configure()->add_step_triggers();
    trigger->set_channel(channel);
    trigger->set_least_code(410);  // 1 A
  }
  send(jig, command);
  command = {};
  command.set_id(2);
  command.mutable_arm()->set_set(1);
  for (std::uint32_t channel = 0; channel < wire::kChannelCount; ++channel) {
    auto* limit = command.mutable_arm()->add_limits();
    limit->set_channel(channel);
    limit->set_side(proto::SIDE_LOW);
    limit->set_code(channel == kGraphics1 ? limit_code : -32700);
    limit->set_release_code(limit->code() + 1);
    limit->set_keep_code(-32768);
    limit->set_least_scans(1);
  }
  send(jig, command);
  command = {};
  command.set_id(3);
  command.mutable_start();
  send(jig, command);
}

struct Taken {
  std::size_t frames = 0;
  std::size_t bytes = 0;
};

void print_line(const std::vector<std::byte>& bytes) {
  std::map<std::string, Taken> kinds;
  std::vector<std::byte> payload(wire::kFrameBytesMax);
  for (auto from = bytes.begin(); from != bytes.end();) {
    const auto to = std::find(from, bytes.end(), wire::kDelimiter);
    if (to == bytes.end()) break;
    const auto decoded = wire::decode_frame({from, to}, payload);
    proto::JigToHost message;
    if (decoded && message.ParseFromArray(decoded->data(), static_cast<int>(decoded->size()))) {
      const auto* field = proto::JigToHost::descriptor()->FindFieldByNumber(message.content_case());
      std::string kind = field == nullptr ? "none" : field->name();
      if (message.has_event())
        kind += "/" + proto::Event::descriptor()->FindFieldByNumber(message.event().kind_case())->name();
      ++kinds[kind].frames;
      kinds[kind].bytes += static_cast<std::size_t>(to - from) + 1;
    }
    from = to + 1;
  }
  for (const auto& [kind, taken] : kinds) {
    fmt::print("    {:<18} {:>7.1f} frames/s {:>8.0f} B/s {:>5.1f} % of the line\n", kind,
               static_cast<double>(taken.frames) * 1000 / kBlocks, static_cast<double>(taken.bytes) * 1000 / kBlocks,
               static_cast<double>(taken.bytes) * 100 / kBlocks / kLineBytesPerMs);
  }
}

void run(const char* name, bench::Load load, std::int16_t limit_code) {
  const bench::Samples samples = bench::make_samples(load, kBlocks * wire::kScansPerBlock, 1);
  auto line = std::make_unique<BudgetedLine>();
  Bench board;
  auto jig = std::make_unique<firmware::Jig>(firmware::Board{
      .transmitter = *line, .gates = board, .ps_on = board, .mode_link = board, .watchdog = board, .store = board});
  begin(*jig, limit_code);
  proto::HostToJig keep_alive;
  keep_alive.mutable_keep_alive();
  Clock::duration spent{};
  for (std::size_t k = 0; k < kBlocks; ++k) {
    firmware::ScanBlock block;
    block.first_scan = k * wire::kScansPerBlock;
    for (std::size_t s = 0; s < wire::kScansPerBlock; ++s) {
      for (std::size_t c = 0; c < wire::kChannelCount; ++c) block.codes[s][c] = samples[c][block.first_scan + s];
    }
    if (k % 500 == 0) {
      keep_alive.set_id(static_cast<std::uint32_t>(10 + k));
      send(*jig, keep_alive);
    }
    line->budget = kLineBytesPerMs;
    const auto start = Clock::now();
    jig->on_block(block);
    while (jig->pump()) {
    }
    spent += Clock::now() - start;
  }
  const double ns = std::chrono::duration<double, std::nano>(spent).count() / (kBlocks * wire::kScansPerBlock);
  const firmware::Health& health = jig->health();
  fmt::print(
      "{}: {:.0f} ns a scan ({:.0f} times real time); merged {}, dropped blocks {} events {} captures {} late {}\n",
      name, ns, 31250 / ns, health.blocks_merged, health.blocks_dropped, health.events_dropped, health.captures_dropped,
      health.captures_late);
  print_line(line->bytes);
}

}  // namespace

int main() {
  fmt::print("core: {} bytes of static memory on this machine\n", sizeof(firmware::Jig));
  run("quiet", bench::Load::kQuiet, bench::kMadeUpLimitCode);
  run("gaming", bench::Load::kGaming, bench::kMadeUpLimitCode);
  run("storm", bench::Load::kGaming, bench::kMadeUpLimitCode + 780);  // the limit in the middle of the noise
}
