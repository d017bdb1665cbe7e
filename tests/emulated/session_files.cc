// SPDX-License-Identifier: Apache-2.0
#include "tests/emulated/session_files.h"

#include <algorithm>
#include <fstream>
#include <iterator>
#include <stdexcept>

#include "host/app/configure.h"
#include "host/data/shipped.h"
#include "host/detect/arm.h"
#include "host/model/jig.h"
#include "host/model/limit_sets.h"
#include "host/simulate/supply.h"
#include "proto/wire/frame.h"

namespace emulated {
namespace {

namespace proto = steadyrail::proto;

constexpr std::uint32_t kScansPerSecond = 32000;
constexpr std::uint32_t kBaud = 2'000'000;
constexpr const char* kBenchFile = "bench";       // the emulated board looks for it
constexpr std::uint64_t kKeepAliveScans = 16000;  // every half second, as the host does

/// Every branch has its channel, which none of them is seen to draw too much on.
proto::DescribeLoadBank eight_branches() {
  proto::DescribeLoadBank bank;
  for (std::uint32_t gate = 0; gate < 8; ++gate) {
    proto::LoadBranch& branch = *bank.add_branches();
    branch.set_gate(gate);
    branch.set_current_ma(100);
    branch.set_power_mw(1000);
    branch.set_on_time_ms_max(60'000);
    branch.set_channel(10 + gate);
    branch.set_idle_code(32'000);
    branch.set_level_codes(1000);
  }
  bank.add_group_current_ma_max(1000);
  bank.set_power_mw_max(10'000);
  bank.set_energy_j_max(10'000);
  bank.set_repetition_hz_max(1000);
  return bank;
}

/// One gate after the other on, then off, 50 us between: 16 times of edges a round of 10 ms.
proto::LoadSteps eight_gates_at_a_hundred_hertz() {
  proto::LoadSteps programme;
  for (std::uint32_t k = 0; k < 16; ++k) {
    proto::LoadStepCommand& step = *programme.add_steps();
    step.set_gate(k % 8);
    step.set_on(k < 8);
    step.set_after_us(k == 0 ? 9250 : 50);
  }
  programme.set_repeat(1000);
  return programme;
}

/// Both files, block by block, with the commands a host would send.
class SessionWriter {
 public:
  explicit SessionWriter(const std::filesystem::path& folder)
      : scans_(folder / "scans.bin", std::ios::binary), commands_(folder / "commands.bin", std::ios::binary) {
    commands_.put(0);  // what a receiver finds before the first delimiter it throws away
  }

  void begin(const proto::Configure& configure, const proto::Arm& arm, bool load_programme = false) {
    proto::HostToJig command;
    command.mutable_identify();
    send(command);
    *command.mutable_configure() = configure;
    send(command);
    *command.mutable_arm() = arm;
    send(command);
    if (load_programme) {
      *command.mutable_describe_load_bank() = eight_branches();
      send(command);
    }
    command.mutable_start();
    send(command);
    if (load_programme) {
      *command.mutable_load_steps() = eight_gates_at_a_hundred_hertz();
      send(command);
    }
  }

  void block(const wire::ScanCodes& codes, const std::vector<wire::ScanEdge>& edges, bool last) {
    proto::HostToJig command;
    if (last) {
      command.mutable_stop();
      send(command);
    } else if (next_scan_ != 0 && next_scan_ % kKeepAliveScans == 0) {
      command.mutable_keep_alive();
      send(command);
    }
    wire::ScanBlockHeader header;
    header.edge_count = static_cast<std::uint32_t>(edges.size());
    header.first_scan = next_scan_;
    header.commands_expected = sent_;
    put(&header, sizeof header);
    put(codes.data(), sizeof codes);
    put(edges.data(), edges.size() * sizeof(wire::ScanEdge));
    next_scan_ += codes.size();
  }

  void close() {
    scans_.close();
    commands_.close();
    if (!scans_ || !commands_) throw std::runtime_error("the session's files cannot be written");
  }

 private:
  void put(const void* data, std::size_t bytes) {
    scans_.write(static_cast<const char*>(data), static_cast<std::streamsize>(bytes));
  }
  void send(proto::HostToJig& command) {
    command.set_id(++sent_);
    const std::string payload = command.SerializeAsString();
    Bytes frame(wire::kFrameBytesMax);
    frame.resize(wire::encode_frame(std::as_bytes(std::span(payload)), frame));
    commands_.write(reinterpret_cast<const char*>(frame.data()), static_cast<std::streamsize>(frame.size()));
  }

  std::ofstream scans_;
  std::ofstream commands_;
  std::uint64_t next_scan_ = 0;
  std::uint32_t sent_ = 0;
};

host::model::Jig reference_jig() {
  return host::model::Jig::from_text(*host::data::shipped("jigs/reference.textproto"), "reference").value();
}

/// The rails that start are followed, from the first that passes a tenth of its nominal voltage.
void follow_starts(const host::model::Jig& jig, std::uint32_t ramp_ms, proto::Configure& configure, proto::Arm& arm) {
  configure.set_ramp_ms(ramp_ms);
  for (const char* name :
       {"main-12v", "main-5v", "main-3v3", "pwr-ok", "ps-on", "ac-present", "processor-1", "graphics-1"}) {
    configure.set_ramp_channel_mask(configure.ramp_channel_mask() | 1U << jig.find(name)->index);
  }
  for (proto::Threshold& threshold : *arm.mutable_thresholds()) {
    const host::model::JigChannel& channel = *jig.at(threshold.channel());
    const double nominal_v = host::model::rail_nominal_v(channel.rail);
    const bool rail = channel.kind == proto::CHANNEL_KIND_RAIL_VOLTAGE && channel.rail != proto::RAIL_P5VSB;
    threshold.set_starts_ramp(rail && channel.value(threshold.code()) < 0.2 * nominal_v);
  }
}

void capture_long(proto::Configure& configure) {
  constexpr std::uint32_t kGraphics = 0xFF0000;
  configure.set_capture_before_scans(480);
  configure.set_capture_after_scans(1440);
  proto::CaptureGroup& group = *configure.add_capture_groups();
  group.set_trigger_mask(kGraphics);
  group.set_channel_mask(kGraphics);
  group.set_after_scans(5280);
}

}  // namespace

bool is_bench(const std::filesystem::path& folder) {
  return std::filesystem::exists(folder / kBenchFile);
}

std::filesystem::path fresh_folder(const std::string& name) {
  const std::filesystem::path folder = std::filesystem::path(STEADYRAIL_CHIP_DIR) / "runs" / name;
  std::filesystem::remove_all(folder);
  std::filesystem::create_directories(folder);
  return folder;
}

void write_scenario(const std::filesystem::path& folder, const std::string& scenario, std::uint64_t seed,
                    std::uint32_t seconds, const ScenarioOptions& scenario_options) {
  const host::model::Jig jig = reference_jig();
  const proto::LimitSet limits = host::model::load_limits("atx-3.0").value().set;
  host::simulate::SupplyOptions options;
  options.from_standby = true;
  auto supply = host::simulate::Supply::create(scenario, seed, jig, options).value();
  SessionWriter writer(folder);
  proto::Configure configure = host::app::configuration(jig, kBaud);
  proto::Arm arm = host::detect::arm_limits(jig, &limits);
  if (scenario_options.ramp_ms != 0) follow_starts(jig, scenario_options.ramp_ms, configure, arm);
  if (scenario_options.long_captures) capture_long(configure);
  if (scenario_options.load_programme) std::ofstream(folder / kBenchFile).put('1');
  writer.begin(configure, arm, scenario_options.load_programme);
  wire::ScanCodes codes;
  std::vector<wire::ScanEdge> edges;
  const std::uint64_t end = std::uint64_t{seconds} * kScansPerSecond;
  while (supply.next_scan() < end) {
    supply.next_block(codes, edges, {});
    writer.block(codes, edges, supply.next_scan() >= end);
  }
  writer.close();
}

void write_storm(const std::filesystem::path& folder, std::uint32_t seconds, bool ramps) {
  constexpr std::int16_t kSound = 1000;
  constexpr std::int16_t kBeyond = 900;
  constexpr std::int16_t kLimit = 950;
  proto::Arm arm;
  arm.set_set(1);
  for (std::uint32_t channel = 0; channel < wire::kChannelCount; ++channel) {
    proto::ArmedLimit& limit = *arm.add_limits();
    limit.set_channel(channel);
    limit.set_side(proto::SIDE_LOW);
    limit.set_code(kLimit);
    limit.set_release_code(kLimit);
    limit.set_keep_code(kLimit);
    limit.set_least_scans(1);
  }
  proto::Configure configure = host::app::configuration(reference_jig(), kBaud);
  if (ramps) {
    configure.set_ramp_channel_mask(0x555555 & 0xFFFF);  // every second: 8 pairs, the dearest
    configure.set_ramp_ms(10'000);
    proto::Threshold& threshold = *arm.add_thresholds();
    threshold.set_code(kLimit);
    threshold.set_starts_ramp(true);
  }
  SessionWriter writer(folder);
  writer.begin(configure, arm);
  wire::ScanCodes codes;
  const std::uint32_t blocks = seconds * kScansPerSecond / wire::kScansPerBlock;
  for (std::uint32_t k = 0; k < blocks; ++k) {
    for (std::size_t s = 0; s < codes.size(); ++s) codes[s].fill(s % 2 == 0 ? kSound : kBeyond);
    writer.block(codes, {}, k + 1 == blocks);
  }
  writer.close();
}

Bytes read_file(const std::filesystem::path& path) {
  std::ifstream file(path, std::ios::binary);
  Bytes bytes(file ? std::filesystem::file_size(path) : 0);
  file.read(reinterpret_cast<char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
  return bytes;
}

std::vector<std::span<const std::byte>> split_frames(const Bytes& bytes) {
  std::vector<std::span<const std::byte>> frames;
  for (auto from = bytes.begin();;) {
    const auto delimiter = std::find(from, bytes.end(), wire::kDelimiter);
    if (delimiter == bytes.end()) return frames;
    if (delimiter != from) frames.emplace_back(from, delimiter + 1);
    from = delimiter + 1;
  }
}

std::vector<proto::JigToHost> messages_of(const Bytes& frames) {
  std::vector<proto::JigToHost> messages;
  Bytes payload(wire::kFrameBytesMax);
  for (const std::span<const std::byte> frame : split_frames(frames)) {
    const auto decoded = wire::decode_frame(frame.first(frame.size() - 1), payload);
    proto::JigToHost message;
    if (!decoded || !message.ParseFromArray(decoded->data(), static_cast<int>(decoded->size()))) {
      throw std::runtime_error("frame " + std::to_string(messages.size()) + " is damaged");
    }
    messages.push_back(std::move(message));
  }
  return messages;
}

}  // namespace emulated
