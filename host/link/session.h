// SPDX-License-Identifier: Apache-2.0
// A session with a jig, from opening the port to the closing note: handshake, recording, decoding, keep-alive,
// reconnect.
#pragma once

#include <chrono>
#include <cstdint>
#include <expected>
#include <functional>
#include <memory>
#include <optional>
#include <stop_token>
#include <string>
#include <string_view>
#include <vector>

#include "host/decode/decoder.h"
#include "host/link/error.h"
#include "host/link/host_clock.h"
#include "host/link/port.h"
#include "host/link/ports.h"
#include "host/record/writer.h"
#include "link.pb.h"
#include "recording.pb.h"

namespace host::link {

enum class KeepAlive : std::uint8_t {
  kTimed,     // every SessionOptions::keep_alive_every of host time
  kExternal,  // only when asked for: the pace is another's (a simulated supply in lock-step)
};

/// Time-outs and bounds, each named so that tests can shorten them.
struct SessionTimes {
  std::chrono::milliseconds hello_timeout{400};        // of one identify
  std::uint32_t hello_tries = 10;                      // boards that restart when a port opens are silent for seconds
  std::chrono::milliseconds acknowledge_timeout{500};  // of one command
  std::uint32_t command_tries = 5;
  std::chrono::milliseconds keep_alive_every{500};
  std::chrono::milliseconds drain_quiet{200};      // after the jig's last status: this long without a byte is the end
  std::chrono::milliseconds drain_silence{1'000};  // the same where no last status came
  std::chrono::milliseconds drain_most{15'000};    // and this long in any case
  std::chrono::milliseconds silence_most{3'000};   // running without a byte for this long: the port counts as gone
  std::chrono::milliseconds reconnect_every{250};
  std::chrono::milliseconds reconnect_for{60'000};  // 0: a port that goes ends the session

  /// For a jig in lock-step with a simulated supply: nothing is asked twice, so that one seed gives the same bytes
  /// however slow the machine, and a port that goes ends the session.
  static SessionTimes patient();
};

/// Notes of others that are due for the recording now that the time mark stamped `scan` has come; nullopt: the session
/// ends. Asked in the thread that runs the session, in the order of the wire, so that a simulated source repeats.
using NotesDue = std::function<std::vector<steadyrail::proto::HostNote>(std::optional<std::uint64_t> scan)>;

struct SessionOptions {
  std::string port;
  std::string port_label;  // name written in the recording; empty: `port`
  PortSettings settings;
  steadyrail::proto::Configure configure;
  std::optional<steadyrail::proto::Arm> arm;
  std::string jig_id;                                          // the only jig to take; empty: any
  std::optional<std::chrono::milliseconds> duration;           // of host time after start; none: until stopped
  std::vector<steadyrail::proto::HostToJig> when_interrupted;  // sent before Stop when `stop` ends the session
  KeepAlive keep_alive = KeepAlive::kTimed;
  SessionTimes times;
  std::stop_token stop;  // Ctrl-C: the session ends as `interrupted`, in order
  /// Ports to try, best first, when the one in use has gone. Empty: candidates() of host/link/ports.h.
  std::function<std::vector<std::string>()> reconnect_names;
  NotesDue notes_due;  // may be empty
};

/// What happens during a session. Called in the thread that runs it.
class SessionEvents {
 public:
  virtual ~SessionEvents() = default;
  virtual void hello(const steadyrail::proto::Hello&, std::uint32_t /*boot*/) {}
  /// Start was acknowledged: windows follow.
  virtual void started(std::uint64_t /*scan*/) {}
  /// `count` host frames have been written whole since the port was opened, this one included.
  virtual void command_written(std::uint32_t /*count*/, const steadyrail::proto::HostToJig&) {}
  /// What a requested command was answered, refusals included.
  virtual void command_answered(const steadyrail::proto::HostToJig&, const steadyrail::proto::Acknowledgement&) {}
  virtual void status(const steadyrail::proto::Status&) {}
  virtual void command_refused(const steadyrail::proto::HostToJig&, const steadyrail::proto::Acknowledgement&) {}
  virtual void port_gone(const std::string& /*name*/) {}
  virtual void port_back(const std::string& /*name*/) {}
  /// Something the user must know that does not end the session: another protocol version, a full disk.
  virtual void remark(const std::string& /*words*/) {}
  /// About four times a second of host time while running.
  virtual void tick() {}
};

enum class SessionEnd : std::uint8_t {
  kFinished,     // the duration passed, or request_stop()
  kInterrupted,  // the stop token
  kPortGone,     // and did not come back
  kDiskFull,     // it ran to its end, but bytes of the recording were lost
};

/// finished, interrupted, port-gone, disk-full: the closing note's reason.
std::string_view to_string(SessionEnd end);

struct SessionReport {
  SessionEnd end = SessionEnd::kFinished;
  std::string port;  // the last one used
  std::uint64_t bytes_received = 0;
  std::uint32_t reconnections = 0;
  record::Closed recording;  // zeros where none was written
};

struct Conversation;

/// Runs once. The decoder is fed exactly what is recorded, header note first, and finished at the end. Before anything
/// has started, an error or a stop discards the recording; after that it is always closed, with its reason.
class Session {
 public:
  /// All references must outlive the session; `writer` may be nullptr: then `header` alone goes to the decoder.
  Session(SessionOptions options, const steadyrail::proto::RecordingHeader& header, HostClock& clock,
          record::Writer* writer, decode::Decoder& decoder, SessionEvents& events);
  ~Session();
  Session(const Session&) = delete;
  Session& operator=(const Session&) = delete;

  /// Blocks until the session has ended. Errors: everything before Start is first acknowledged. Later faults of the
  /// line end it as kPortGone, once reconnecting has failed.
  std::expected<SessionReport, LinkError> run();

  // The following may be called from any thread while run() does; they return at once.

  /// Sends a command (its id is set here) with acknowledgement and retries.
  void request(steadyrail::proto::HostToJig command);
  void request_keep_alive();
  /// Stops the jig, reads what it still has, closes the recording as `finished`.
  void request_stop();
  void add_mark(steadyrail::proto::Mark mark);

 private:
  friend std::expected<Conversation, LinkError> converse(const SessionOptions& options,
                                                         std::vector<steadyrail::proto::HostToJig> commands);
  class Run;
  std::unique_ptr<Run> run_;
};

}  // namespace host::link
