// SPDX-License-Identifier: Apache-2.0
// The session's inside. Everything happens in the thread that calls run(): it runs the io_context one handler at a time
// until what it waits for has come, the time is up, the port has gone or a stop was asked for. Other threads only post.
#pragma once

#include <chrono>
#include <deque>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>

#include "host/link/conversation.h"
#include "host/link/frame_watch.h"
#include "host/link/session.h"
#include "host/link/tape.h"

namespace host::link {

class Session::Run {
 public:
  Run(SessionOptions options, const steadyrail::proto::RecordingHeader& header, HostClock& clock,
      record::Writer* writer, decode::Decoder& decoder, SessionEvents& events);

  std::expected<SessionReport, LinkError> run();
  /// Instead of run().
  std::expected<Conversation, LinkError> converse(std::vector<steadyrail::proto::HostToJig> commands);

  // From any thread.
  void request(steadyrail::proto::HostToJig command);
  void request_keep_alive();
  void request_stop();
  void add_mark(steadyrail::proto::Mark mark);

 private:
  using Clock = std::chrono::steady_clock;
  using Command = steadyrail::proto::HostToJig;
  enum class Waited : std::uint8_t { kDone, kTimeout, kGone, kStopped };

  // session_line.cc: one port, one command.
  Waited wait(const std::function<bool()>& done, Clock::time_point deadline);
  void on_read(Arrival arrival, std::span<const std::byte> bytes);
  void send(const Command& command);
  std::expected<steadyrail::proto::Acknowledgement, LinkError> command(Command command);
  void close_port();
  LinkError error(LinkFault fault, const std::string& words) const;

  // session_handshake.cc
  std::expected<void, LinkError> greet(const std::string& name);
  std::expected<void, LinkError> identify();
  std::expected<void, LinkError> check_hello();
  std::expected<void, LinkError> begin_measuring();
  std::expected<steadyrail::proto::Acknowledgement, LinkError> require(const Command& asked);

  // conversation.cc
  std::expected<steadyrail::proto::Acknowledgement, LinkError> at_rest(const Command& asked);
  std::expected<KeptCalibration, LinkError> read_calibration();

  // session_run.cc
  SessionEnd measure();
  void tick();
  void serve_requests();
  void send_last_words();
  void stop_jig();
  SessionReport finish(SessionEnd end);
  void note_port(steadyrail::proto::PortState state);
  void take_notes(std::optional<std::uint64_t> scan);

  // session_reconnect.cc
  bool reconnect();
  std::vector<std::string> names_to_try() const;

  bool stopping() const { return stop_asked_ || options_.stop.stop_requested(); }

  SessionOptions options_;
  steadyrail::proto::RecordingHeader header_;
  HostClock& clock_;
  record::Writer* writer_;
  decode::Decoder& decoder_;
  SessionEvents& events_;
  Tape tape_;
  FrameWatch watch_;

  boost::asio::io_context context_;
  boost::asio::executor_work_guard<boost::asio::io_context::executor_type> work_;
  std::unique_ptr<Port> port_;
  std::string port_name_;
  PortInfo first_port_;
  bool taping_ = false;              // the jig has been recognized: its bytes are recorded
  std::vector<std::byte> unproven_;  // bytes before that
  bool gone_ = false;
  bool running_ = false;
  bool stop_asked_ = false;
  bool ending_ = false;  // stop requests no longer break off a wait
  bool disk_full_told_ = false;
  Clock::time_point last_bytes_at_{};
  std::uint64_t bytes_received_ = 0;
  std::uint32_t reconnections_ = 0;
  std::uint32_t frames_written_ = 0;
  std::uint32_t next_id_ = 1;
  std::optional<steadyrail::proto::Hello> hello_;
  std::optional<KeptCalibration> kept_;
  std::optional<std::uint32_t> boot_;  // of the jig when it was started
  std::string jig_id_;
  std::uint32_t awaited_id_ = 0;
  std::optional<steadyrail::proto::Acknowledgement> acknowledgement_;
  bool last_status_seen_ = false;
  std::deque<Command> requests_;
};

}  // namespace host::link
