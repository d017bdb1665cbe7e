// SPDX-License-Identifier: Apache-2.0
// Window frames from recorded bytes to batches: decode_bench [SECONDS]
// Made-up samples, quiet and gaming, as a recording of SECONDS (default 60) in memory; each stage on one core as a
// multiple of memcpy of the same bytes and of real time, the whole decoder last. Every ratio comes from this one run.
#include <chrono>
#include <cstdlib>
#include <cstring>
#include <memory>
#include <vector>

#include <fmt/core.h>

#include "host/decode/decoder.h"
#include "host/decode/envelope.h"
#include "host/decode/frame_splitter.h"
#include "host/record/note.h"
#include "link.pb.h"
#include "proto/wire/frame.h"
#include "proto/wire/window_codec.h"
#include "tests/bench/bench_samples.h"

namespace {

using Bytes = std::vector<std::byte>;

constexpr std::size_t kScanRateHz = 32'000;
constexpr int kRounds = 3;  // the best is printed: the machine is shared

Bytes frame_of(const std::string& payload) {
  Bytes out(wire::cobs_bytes_max(payload.size() + wire::kCrcBytes) + 1);
  out.resize(wire::encode_frame(std::as_bytes(std::span(payload)), out));
  return out;
}

Bytes make_recording(bench::Load load, std::size_t seconds) {
  steadyrail::proto::HostNote header;
  header.mutable_header()->set_format_version(host::record::kFormatVersion);
  header.mutable_header()->mutable_jig()->set_scan_rate_hz(kScanRateHz);
  Bytes recording = host::record::note_frame(header).value();
  constexpr std::size_t kPatternSeconds = 10;  // samples repeat after this; frames differ in scan and sequence
  const auto blocks = bench::make_blocks(bench::make_samples(load, kPatternSeconds * kScanRateHz, 1));
  Bytes body(wire::kWindowBodyBytesMax);
  std::uint64_t scan = 0;
  for (std::uint32_t sequence = 1; scan < seconds * kScanRateHz; ++sequence) {
    const wire::WindowBlock& block = blocks[(sequence - 1) % blocks.size()];
    steadyrail::proto::JigToHost message;
    message.set_sequence(sequence);
    message.set_boot(1);
    message.mutable_windows()->set_first_scan(scan);
    message.mutable_windows()->set_scans_per_window(block.scans_per_window);
    message.mutable_windows()->set_window_count(block.window_count);
    message.set_body(body.data(), wire::encode_windows(block, body));
    const Bytes frame = frame_of(message.SerializeAsString());
    recording.insert(recording.end(), frame.begin(), frame.end());
    scan += std::uint64_t{block.scans_per_window} * block.window_count;
  }
  return recording;
}

template <typename Work>
double best_seconds(Work&& work) {
  double best = 1e9;
  for (int round = 0; round < kRounds; ++round) {
    const auto start = std::chrono::steady_clock::now();
    work();
    best = std::min(best, std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count());
  }
  return best;
}

class Counting : public host::decode::Sink {
 public:
  void windows(const host::decode::WindowBatch& batch) override { scans += batch.end_scan() - batch.first_scan; }
  std::uint64_t scans = 0;
};

template <typename Each>
void for_each_payload(const Bytes& recording, Each&& each) {
  static std::array<std::byte, wire::kFrameBytesMax> buffer;
  host::decode::FrameSplitter splitter;
  splitter.feed(
      recording,
      [&](std::span<const std::byte> frame) {
        if (const auto payload = wire::decode_frame(frame.first(frame.size() - 1), buffer)) each(*payload);
      },
      [](std::uint64_t) {});
}

std::size_t frames_by_delimiter(const Bytes& recording) {
  std::size_t frames = 0;
  host::decode::FrameSplitter().feed(recording, [&](std::span<const std::byte>) { ++frames; }, [](std::uint64_t) {});
  return frames;
}

void measure(const char* name, const Bytes& recording, std::size_t seconds) {
  Bytes copy(recording.size());
  std::memcpy(copy.data(), recording.data(), copy.size());  // first touch of the pages is not part of any figure
  const double base = best_seconds([&] { std::memcpy(copy.data(), recording.data(), copy.size()); });
  fmt::print("{}: {} s, {:.1f} MB, {:.1f} kB/s; memcpy {:.1f} GB/s\n", name, seconds, 1e-6 * recording.size(),
             1e-3 * recording.size() / seconds, 1e-9 * recording.size() / base);
  const auto row = [&](const char* stage, double taken) {
    fmt::print("  {:<44} {:7.1f} x memcpy {:12.0f} x real time\n", stage, taken / base, seconds / taken);
  };
  std::uint64_t kept = 0;
  row("delimiters", best_seconds([&] { kept += frames_by_delimiter(recording); }));
  row("and frames (COBS, CRC-32C)",
      best_seconds([&] { for_each_payload(recording, [&](std::span<const std::byte> p) { kept += p.size(); }); }));
  row("and envelopes, read in place", best_seconds([&] {
        for_each_payload(recording, [&](std::span<const std::byte> payload) {
          if (const auto envelope = host::decode::read_envelope(payload)) kept += envelope->body.size();
        });
      }));
  steadyrail::proto::JigToHost message;
  row("  instead: protobuf, one message reused", best_seconds([&] {
        for_each_payload(recording, [&](std::span<const std::byte> payload) {
          if (message.ParseFromArray(payload.data(), static_cast<int>(payload.size()))) kept += message.body().size();
        });
      }));
  row("whole decoder to an empty sink", best_seconds([&] {
        Counting sink;
        host::decode::Decoder decoder(sink);
        decoder.feed(recording);
        decoder.finish();
        kept += sink.scans;
        if (sink.scans < seconds * kScanRateHz) std::abort();
      }));
  if (kept == 0) std::abort();
}

}  // namespace

int main(int argc, char** argv) {
  const std::size_t seconds = argc > 1 ? std::strtoul(argv[1], nullptr, 10) : 60;
  if (seconds == 0 || seconds > 3600) {
    fmt::print(stderr, "decode_bench: {} is no number of seconds from 1 to 3600\n", argv[1]);
    return 2;
  }
  measure("quiet", make_recording(bench::Load::kQuiet, seconds), seconds);
  measure("gaming", make_recording(bench::Load::kGaming, seconds), seconds);
  return 0;
}
