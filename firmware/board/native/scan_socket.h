// SPDX-License-Identifier: Apache-2.0
// The simulator's end of the virtual jig: blocks of scans in, outputs back (proto/wire/scan_stream.h).
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>

#include "firmware/hal/outputs.h"
#include "firmware/hal/scan_source.h"
#include "proto/wire/scan_stream.h"

namespace firmware {

enum class ScanStream : std::uint8_t { kBlock, kEnded, kStopped, kBroken };

class ScanSocket : public ScanSource, public LoadGates, public PsOnDriver, public TestSource {
 public:
  explicit ScanSocket(int fd) : fd_(fd) {}

  int fd() const { return fd_; }

  /// Reads the next block; waits for it. kBroken: error() says why.
  ScanStream receive();
  /// Host frames that must have arrived before the block received last may be taken.
  std::uint32_t commands_expected() const { return header_.commands_expected; }
  const std::string& error() const { return error_; }

  /// The block received last, once; null afterwards.
  const ScanBlock* take_block() override;

  bool queue_edge(const GateEdge& edge) override;
  void switch_off() override;
  void drive(bool on) override { outputs_.ps_on_driven = on ? 1 : 0; }
  void join(const SourceJoin& to) override {
    outputs_.source_outputs = to.outputs;
    outputs_.source_level = to.level;
    outputs_.source_weak = to.weak ? 1 : 0;
  }

  /// Tells the simulator the outputs as they stand from the next block on. False when it is gone.
  bool send_outputs();

 private:
  ScanStream read_exactly(void* into, std::size_t bytes, bool at_border);
  ScanStream read_edges();
  ScanStream broken(const std::string& why);

  int fd_;
  std::uint64_t next_scan_ = 0;
  wire::ScanBlockHeader header_{};
  ScanBlock block_{};
  bool fresh_ = false;
  wire::JigOutputs outputs_{};  // of the block after the one received last
  std::string error_;
};

}  // namespace firmware
