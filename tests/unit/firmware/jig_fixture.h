// SPDX-License-Identifier: Apache-2.0
// A jig on a board of memory: what the host sends goes in, what the jig says comes out decoded.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "firmware/app/jig.h"
#include "firmware/board/ram_store.h"
#include "link.pb.h"
#include "proto/wire/window_codec.h"

namespace firmware::testing {

namespace proto = steadyrail::proto;

/// A line that takes what its budget allows.
class MemoryLine : public SerialTransmitter {
 public:
  std::size_t room() const override { return budget; }
  std::size_t try_write(std::span<const std::byte> sent) override;

  std::size_t budget = SIZE_MAX;
  std::vector<std::byte> bytes;
};

class MemoryStore : public RamStore {
 public:
  MemoryStore();
  std::uint32_t boot_count() const override { return boot; }
  std::uint32_t reset_cause() const override { return cause; }

  Stored store_identity(const Identity& identity, bool may_erase) override {
    return full && !may_erase ? Stored::kEraseNeeded
           : failing          ? Stored::kFailed
                              : RamStore::store_identity(identity, may_erase);
  }
  Stored store_calibration(std::string_view id, std::span<const std::byte> content, bool may_erase) override {
    return full && !may_erase ? Stored::kEraseNeeded
           : failing          ? Stored::kFailed
                              : RamStore::store_calibration(id, content, may_erase);
  }

  std::uint32_t boot = 7;
  std::uint32_t cause = 3;
  bool full = false;  // no room without an erase
  bool failing = false;
};

/// Outputs as last driven.
class MemoryOutputs : public LoadGates, public PsOnDriver, public TestSource, public ModeLink, public Watchdog {
 public:
  bool queue_edge(const GateEdge& edge) override {
    edges.push_back(edge);
    gates = edge.gates;
    gates_from_scan = edge.scan;
    return true;
  }
  void switch_off() override { gates = 0; }
  void drive(bool on) override { ps_on = on; }
  void join(const SourceJoin& to) override { joined = to; }
  Mode read() override { return mode; }
  void feed() override { ++feeds; }

  Mode mode = Mode::kObserve;
  std::uint32_t gates = 0xFF;         // what a reset must switch off
  std::uint64_t gates_from_scan = 0;  // of the latest edge loaded
  std::vector<GateEdge> edges;
  bool ps_on = true;
  SourceJoin joined{.outputs = 0xFF, .level = 3, .weak = true};  // what a reset must switch off
  std::uint32_t feeds = 0;
};

/// Code of a channel at a scan.
using Signal = std::function<std::int16_t(std::uint64_t scan, std::size_t channel)>;

ScanBlock block_of(std::uint64_t first_scan, const Signal& signal);

/// Payload in a frame, delimiter included.
std::vector<std::byte> framed(std::string_view payload);

/// One frame of the jig as an outsider reads it.
struct HeardFrame {
  proto::JigToHost message;
  std::size_t frame_bytes = 0;
};

class JigFixture {
 public:
  explicit JigFixture(Mode mode = Mode::kObserve, std::uint32_t sequence = 0, BoardWatch* watch = nullptr);

  /// Sends a command with the next id, and lets the jig talk.
  void send(proto::HostToJig command);
  void send_bytes(std::span<const std::byte> bytes);
  void identify();
  void configure(std::uint32_t scans_per_window = 32, std::uint32_t line_bytes_per_s = 200000);
  void start();
  void stop();
  void keep_alive();
  /// ample_load_bank(), changed by `change`.
  void describe_load_bank(const std::function<void(proto::DescribeLoadBank&)>& change = {});
  /// Configure (changed by `change`), Arm, Start.
  void begin(const proto::Arm& arm, const std::function<void(proto::Configure&)>& change = {});

  /// Plays whole blocks of `signal`; between them the jig talks within `bytes_per_block`.
  void play(const Signal& signal, std::size_t blocks, std::size_t bytes_per_block = SIZE_MAX);
  /// The next block is `scans` later.
  void lose(std::uint64_t scans) { next_scan_ += scans; }
  /// For the next block played.
  void edge(const LineEdge& edge) { edges_.push_back(edge); }
  void talk();

  /// Everything said since the last call.
  std::vector<HeardFrame> heard();
  std::uint64_t next_scan() const { return next_scan_; }
  const Health& health() const { return jig_->health(); }
  Jig& jig() { return *jig_; }

  MemoryLine line;
  MemoryStore store;
  MemoryOutputs outputs;
  std::uint32_t last_id = 0;

 private:
  std::unique_ptr<Jig> jig_;
  std::uint64_t next_scan_ = 0;
  std::vector<LineEdge> edges_;
};

/// Every whole frame; a damaged one fails the test.
std::vector<HeardFrame> frames_in(const std::vector<std::byte>& bytes);

/// The frames of one kind, e.g. of_kind(frames, proto::JigToHost::kEvent).
std::vector<proto::JigToHost> of_kind(const std::vector<HeardFrame>& frames, proto::JigToHost::ContentCase kind);
std::vector<proto::Event> events_of(const std::vector<HeardFrame>& frames, proto::Event::KindCase kind);
/// The last one of all acknowledgements.
proto::Acknowledgement last_answer(const std::vector<HeardFrame>& frames);
wire::DecodedWindows windows_of(const proto::JigToHost& message);

/// Allows nearly everything: 8 branches of 6 A and 72 W on two rails for a minute, seen by channels 10 to 17 with a
/// level of 1,000 codes above code 1,000.
proto::DescribeLoadBank ample_load_bank();

/// A low limit with its release one code above, nothing kept for depth alone.
proto::ArmedLimit low_limit(std::uint32_t channel, std::int32_t code, std::uint32_t least_scans = 1);

/// Pseudo-random numbers from a seed (Knuth's 64-bit linear congruential generator, high half).
class Random {
 public:
  explicit Random(std::uint64_t seed) : state_(seed) {}
  std::uint32_t next() {
    state_ = state_ * 6364136223846793005U + 1442695040888963407U;
    return static_cast<std::uint32_t>(state_ >> 32);
  }
  std::int32_t between(std::int32_t least, std::int32_t most) {
    return least + static_cast<std::int32_t>(next() % static_cast<std::uint32_t>(most - least + 1));
  }

 private:
  std::uint64_t state_;
};

}  // namespace firmware::testing
