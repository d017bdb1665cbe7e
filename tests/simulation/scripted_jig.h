// SPDX-License-Identifier: Apache-2.0
// A jig in a thread behind any descriptor. It answers as its script says and, once started, sends windows, time marks
// and status at a pace of its own; no firmware in it, so that the host's side is tested against a second reading of
// wire.md.
#pragma once

#include <atomic>
#include <cstdint>
#include <functional>
#include <string>
#include <thread>
#include <vector>

#include "link.pb.h"
#include "tests/simulation/jig_frames.h"

namespace testing_jig {

struct Script {
  std::string jig_id = "J-01";
  std::uint32_t boot = 1;
  std::uint32_t protocol_version = 1;
  int identifies_ignored = 0;     // before the first hello
  bool silent = false;            // never answers at all
  bool garbage = false;           // answers everything with noise
  bool running_at_first = false;  // as an earlier host left it
  int answers_lost = 0;           // acknowledgements that do not arrive, before the first that does
  steadyrail::proto::HostToJig::CommandCase refused = steadyrail::proto::HostToJig::COMMAND_NOT_SET;
  steadyrail::proto::Refusal refusal = steadyrail::proto::REFUSAL_NONE;
  std::uint64_t blocks_most = 0;    // window blocks, then it only answers; 0: no end
  std::uint64_t restart_after = 0;  // blocks until it restarts by itself; 0: never
  int block_every_ms = 2;
  std::uint64_t first_scan = 0;
  std::uint32_t last_sequence = 0;  // of the frame before its first
  /// What reaches the line of what it says; empty: all of it.
  std::function<Bytes(const Bytes&)> line = {};
};

class ScriptedJig {
 public:
  /// `descriptor` stays the caller's; closing it ends the jig.
  ScriptedJig(int descriptor, Script script);
  ~ScriptedJig();
  ScriptedJig(const ScriptedJig&) = delete;
  ScriptedJig& operator=(const ScriptedJig&) = delete;

  /// Ends it now, with what it has said on the line.
  void end();

  std::uint64_t blocks_sent() const { return blocks_sent_; }
  std::uint64_t next_scan() const { return next_scan_; }
  /// Of its last frame. After end().
  std::uint32_t sequence() const { return frames_.sequence(); }
  /// Commands by case, in the order they came, repetitions included. After end().
  const std::vector<steadyrail::proto::HostToJig>& commands() const { return commands_; }

 private:
  void work();
  void answer(const steadyrail::proto::HostToJig& command);
  void send(const Bytes& bytes);
  void acquire();
  void stop_running();

  int descriptor_;
  Script script_;
  JigFrames frames_;
  std::atomic<bool> ending_ = false;
  std::atomic<std::uint64_t> blocks_sent_ = 0;
  std::atomic<std::uint64_t> next_scan_ = 0;
  bool running_ = false;
  std::vector<steadyrail::proto::HostToJig> commands_;
  std::thread thread_;
};

}  // namespace testing_jig
