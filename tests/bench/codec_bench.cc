// SPDX-License-Identifier: Apache-2.0
// Bytes a channel-window takes on the line, and how fast bodies are packed and unpacked, beside memcpy in the same run.
// Sizes have targets and do not depend on how fast the machine is; speeds are only printed: wall-clock time on a shared
// machine proves no more than an order of magnitude.
#include <fmt/core.h>

#include <algorithm>
#include <chrono>
#include <cstring>
#include <memory>
#include <string>
#include <string_view>

#include "link.pb.h"
#include "proto/wire/capture_codec.h"
#include "proto/wire/frame.h"
#include "proto/wire/window_codec.h"
#include "tests/bench/bench_samples.h"
#include "tests/bench/simulated_samples.h"

namespace {

namespace proto = steadyrail::proto;
using Bytes = std::vector<std::byte>;

constexpr double kWindowsPerSecond = 1000;
constexpr double kLineBytesPerSecond = 200000;  // 2 Mbaud, 10 bits a byte
constexpr double kLineShareMost = 0.6;
constexpr double kQuietBytesMost = 3.0;  // per channel-window, body
constexpr double kGamingBytesMost = 4.4;
constexpr double kTimeMarksPerSecond = 4;
constexpr double kStatusPerSecond = 1;

/// Least seconds of several runs: the one the machine's other work disturbed least.
template <typename Work>
double seconds_of(const Work& work) {
  double least = 1e9;
  for (int run = 0; run < 7; ++run) {
    const auto start = std::chrono::steady_clock::now();
    work();
    least = std::min(least, std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count());
  }
  return least;
}

std::size_t frame_bytes(const proto::JigToHost& message) {
  const std::string payload = message.SerializeAsString();
  Bytes out(wire::kFrameBytesMax);
  return wire::encode_frame(std::as_bytes(std::span(payload)), out);
}

std::size_t window_frame_bytes(const wire::WindowBlock& block, const Bytes& body, std::uint64_t first_scan) {
  proto::JigToHost message;
  message.set_sequence(100000);
  message.set_boot(12);
  message.mutable_windows()->set_first_scan(first_scan);
  message.mutable_windows()->set_scans_per_window(block.scans_per_window);
  message.mutable_windows()->set_window_count(block.window_count);
  message.mutable_windows()->set_armed_set(1);
  message.set_body(body.data(), body.size());
  return frame_bytes(message);
}

/// Bytes a second of the small frames that always run: time marks and status with every field filled.
double steady_bytes_per_second() {
  proto::JigToHost mark;
  mark.set_sequence(100000);
  mark.set_boot(12);
  mark.mutable_time_mark()->set_scan(1ULL << 32);
  proto::JigToHost status;
  status.set_sequence(100000);
  status.set_boot(12);
  const auto* fields = proto::Status::descriptor();
  for (int k = 0; k < fields->field_count(); ++k) {
    const auto* field = fields->field(k);
    const auto* reflection = status.status().GetReflection();
    if (field->type() == google::protobuf::FieldDescriptor::TYPE_UINT32) {
      reflection->SetUInt32(status.mutable_status(), field, 100000);
    }
  }
  status.mutable_status()->set_scan(1ULL << 32);
  return kTimeMarksPerSecond * static_cast<double>(frame_bytes(mark)) +
         kStatusPerSecond * static_cast<double>(frame_bytes(status));
}

struct Packed {
  std::vector<Bytes> bodies;
  std::size_t body_bytes = 0;
  std::size_t worst_bytes = 0;
  std::size_t line_bytes = 0;
};

Packed pack(const std::vector<wire::WindowBlock>& blocks) {
  Packed packed;
  std::uint64_t scan = 1ULL << 32;  // an index after 37 hours: full-length numbers
  for (const wire::WindowBlock& block : blocks) {
    Bytes body(wire::kWindowBodyBytesMax);
    body.resize(wire::encode_windows(block, body));
    packed.body_bytes += body.size();
    packed.worst_bytes = std::max(packed.worst_bytes, body.size());
    packed.line_bytes += window_frame_bytes(block, body, scan);
    packed.bodies.push_back(std::move(body));
    scan += static_cast<std::uint64_t>(block.scans_per_window) * block.window_count;
  }
  return packed;
}

/// True when within the targets.
bool print_size(const char* name, const std::vector<wire::WindowBlock>& blocks, const Packed& packed,
                double bytes_most) {
  const double channel_windows = static_cast<double>(blocks.size()) * wire::kWindowsPerBlock * wire::kChannelCount;
  const double body = static_cast<double>(packed.body_bytes) / channel_windows;
  const double line = static_cast<double>(packed.line_bytes) / channel_windows;
  const double per_second = line * kWindowsPerSecond * wire::kChannelCount + steady_bytes_per_second();
  const double share = per_second / kLineBytesPerSecond;
  const bool within = body <= bytes_most && share <= kLineShareMost;
  fmt::print(
      "{:<16} {:.2f} bytes per channel-window (target {:.1f}; {:.2f} in the worst block, {:.2f} with framing); "
      "with status and time marks {:.1f} % of 2 Mbaud (target {:.0f} %){}\n",
      name, body, bytes_most, static_cast<double>(packed.worst_bytes) / (wire::kWindowsPerBlock * wire::kChannelCount),
      line, 100 * share, 100 * kLineShareMost, within ? "" : " - MISSED");
  return within;
}

void print_speed(const char* name, const std::vector<wire::WindowBlock>& blocks, const Packed& packed) {
  const double channel_windows = static_cast<double>(blocks.size()) * wire::kWindowsPerBlock * wire::kChannelCount;
  Bytes target(wire::kWindowBodyBytesMax);
  const auto decoded = std::make_unique<wire::DecodedWindows>();
  const auto copied = std::make_unique<wire::DecodedWindows>();
  const double copy = seconds_of([&] {
    for (std::size_t k = 0; k < packed.bodies.size(); ++k) {
      std::memcpy(copied.get(), decoded.get(), sizeof *decoded);
      asm volatile("" : : "r"(copied.get()) : "memory");
    }
  });
  bool sound = true;
  const double decode = seconds_of([&] {
    for (const Bytes& body : packed.bodies) {
      sound = wire::decode_windows(body, wire::kScansPerBlock, wire::kWindowsPerBlock, *decoded) && sound;
      asm volatile("" : : "r"(decoded.get()) : "memory");
    }
  });
  const double encode = seconds_of([&] {
    for (const wire::WindowBlock& block : blocks) {
      wire::encode_windows(block, target);
      asm volatile("" : : "r"(target.data()) : "memory");
    }
  });
  fmt::print(
      "{:<16} decode {:.0f} M channel-windows/s ({:.1f} x memcpy of the decoded columns, {:.0f} x real time), "
      "encode {:.0f} M/s{}\n",
      name, channel_windows / decode / 1e6, decode / copy,
      channel_windows / decode / (kWindowsPerSecond * wire::kChannelCount), channel_windows / encode / 1e6,
      sound ? "" : " - A BODY DID NOT DECODE");
}

void print_capture(const char* name, const bench::Samples& samples) {
  std::size_t bytes = 0;
  std::size_t codes = 0;
  Bytes column(wire::kCaptureColumnBytesMax);
  for (const auto& channel : samples) {
    for (std::size_t scan = 0; scan + 32 <= channel.size(); scan += 32) {
      bytes += wire::encode_capture_column(std::span(channel).subspan(scan, 32), column);
      codes += 32;
    }
  }
  fmt::print("{:<16} captures {:.2f} bytes a sample (2 plain)\n", name,
             static_cast<double>(bytes) / static_cast<double>(codes));
}

bool print_all(const char* name, const bench::Samples& samples, std::int16_t limit_code, double bytes_most,
               bool speeds) {
  const std::vector<wire::WindowBlock> blocks = bench::make_blocks(samples, limit_code);
  const Packed packed = pack(blocks);
  const bool within = print_size(name, blocks, packed, bytes_most);
  print_capture(name, samples);
  if (speeds) print_speed(name, blocks, packed);
  return within;
}

}  // namespace

/// `--sizes`: only what does not depend on the machine. Exits with 1 when a size misses its target.
int main(int argc, char** argv) {
  const bool speeds = argc < 2 || std::string_view(argv[1]) != "--sizes";
  constexpr std::size_t kScanCount = 3 * 32768;  // 3 s
  constexpr std::uint32_t kSeed = 20240611;
  fmt::print("made-up signals:\n");
  bool within = print_all("quiet", bench::make_samples(bench::Load::kQuiet, kScanCount, kSeed), bench::kMadeUpLimitCode,
                          kQuietBytesMost, speeds);
  within = print_all("gaming", bench::make_samples(bench::Load::kGaming, kScanCount, kSeed), bench::kMadeUpLimitCode,
                     kGamingBytesMost, speeds) &&
           within;
  fmt::print("simulated supply, gaming:\n");
  for (const char* scenario : {"healthy", "tired-capacitors"}) {
    const bench::Samples samples = bench::simulated_samples(scenario, kScanCount, kSeed);
    if (samples[0].empty()) return 1;
    within = print_all(scenario, samples, bench::kReferenceLimitCode, kGamingBytesMost, speeds) && within;
  }
  return within ? 0 : 1;
}
