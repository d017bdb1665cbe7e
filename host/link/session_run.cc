// SPDX-License-Identifier: Apache-2.0
#include "host/link/session_run.h"

#include <algorithm>

#include <boost/asio/post.hpp>

#include "host/link/words.h"
#include "host/record/note.h"

namespace host::link {

namespace proto = steadyrail::proto;

Session::Run::Run(SessionOptions options, const proto::RecordingHeader& header, HostClock& clock,
                  record::Writer* writer, decode::Decoder& decoder, SessionEvents& events)
    : options_(std::move(options)),
      header_(writer == nullptr ? header : writer->header()),
      clock_(clock),
      writer_(writer),
      decoder_(decoder),
      events_(events),
      tape_(clock, writer, decoder, [this](std::uint64_t scan) { take_notes(scan); }),
      work_(boost::asio::make_work_guard(context_)) {
  watch_.on_hello = [this](const proto::Hello& hello) { hello_ = hello; };
  watch_.on_acknowledgement = [this](const proto::Acknowledgement& answer) {
    if (answer.id() == awaited_id_) acknowledgement_ = answer;
  };
  watch_.on_calibration = [this](const std::string& id, std::span<const std::byte> content) {
    kept_ = {id, std::string(reinterpret_cast<const char*>(content.data()), content.size())};
  };
  watch_.on_status = [this](const proto::Status& status) {
    last_status_seen_ = !status.running();
    events_.status(status);
  };
}

std::expected<SessionReport, LinkError> Session::Run::run() {
  const std::stop_callback wake(options_.stop, [this] { boost::asio::post(context_, [] {}); });
  first_port_.name = options_.port;
  for (const PortInfo& port : ports()) {
    if (port.name == options_.port) first_port_ = port;
  }
  tape_.header(header_);
  auto begun = greet(options_.port);
  if (begun) {
    jig_id_ = hello_->jig_id();
    begun = begin_measuring();
  }
  if (!begun) {
    close_port();
    if (writer_ != nullptr) writer_->discard();
    if (!stopping()) return std::unexpected(begun.error());
    return std::unexpected(LinkError{
        LinkFault::kStopped, options_.port + ": stopped before the jig had begun to measure: nothing was recorded"});
  }
  const SessionEnd end = measure();
  ending_ = true;
  if (end == SessionEnd::kInterrupted) send_last_words();
  if (end != SessionEnd::kPortGone) stop_jig();
  return finish(end);
}

SessionEnd Session::Run::measure() {
  const auto never = Clock::time_point::max();
  const auto end_at = options_.duration ? Clock::now() + *options_.duration : never;
  const bool timed = options_.keep_alive == KeepAlive::kTimed;
  constexpr std::chrono::milliseconds kTickEvery{250};
  auto keep_alive_at = timed ? Clock::now() + options_.times.keep_alive_every : never;
  auto tick_at = Clock::now() + kTickEvery;
  last_bytes_at_ = Clock::now();
  for (;;) {  // ends with the duration, a stop, or the port
    const auto restarted = [this] { return boot_ && watch_.boot() != boot_; };
    const Waited waited =
        wait([&] { return !requests_.empty() || restarted(); }, std::min({keep_alive_at, tick_at, end_at}));
    if (options_.stop.stop_requested()) return SessionEnd::kInterrupted;
    if (stop_asked_) return SessionEnd::kFinished;
    const auto now = Clock::now();
    if (now >= end_at) return SessionEnd::kFinished;
    bool lost = waited == Waited::kGone || (timed && now - last_bytes_at_ > options_.times.silence_most);
    if (!lost && restarted()) {
      events_.remark("the jig restarted; it is set up and started again");
      running_ = false;
      lost = !begin_measuring();
    }
    if (lost && !reconnect()) return stopping() ? SessionEnd::kInterrupted : SessionEnd::kPortGone;
    if (lost) last_bytes_at_ = Clock::now();
    serve_requests();
    if (now >= keep_alive_at) {
      Command alive;
      alive.mutable_keep_alive();
      alive.set_id(next_id_++);
      send(alive);
      keep_alive_at = now + options_.times.keep_alive_every;
    }
    if (now >= tick_at) {
      tick();
      tick_at = now + kTickEvery;
    }
  }
}

void Session::Run::tick() {
  if (writer_ != nullptr && writer_->bytes_lost() != 0 && !disk_full_told_) {
    disk_full_told_ = true;
    events_.remark("the disk is full: the session goes on, but its recording has stopped; free some space");
  }
  events_.tick();
}

void Session::Run::serve_requests() {
  while (!requests_.empty() && running_ && !gone_) {
    const Command asked = std::move(requests_.front());
    requests_.pop_front();
    const auto answer = command(asked);
    if (!answer) {
      events_.remark(answer.error().message);
      continue;
    }
    events_.command_answered(asked, *answer);
    if (answer->refusal() != proto::REFUSAL_NONE) events_.command_refused(asked, *answer);
  }
}

void Session::Run::send_last_words() {
  for (const Command& last : options_.when_interrupted) {
    if (!port_ || gone_) return;
    if (const auto answer = command(last); !answer) events_.remark(answer.error().message);
  }
}

void Session::Run::stop_jig() {
  if (!port_ || gone_) return;  // stopped while the jig was being looked for
  Command stop;
  stop.mutable_stop();
  const auto answer = command(stop);
  if (!answer) {
    events_.remark(answer.error().message);
    return;
  }
  running_ = false;
  const auto& times = options_.times;
  const auto most = Clock::now() + times.drain_most;
  last_bytes_at_ = Clock::now();
  while (Clock::now() < most) {
    const auto quiet_until = last_bytes_at_ + (last_status_seen_ ? times.drain_quiet : times.drain_silence);
    if (Clock::now() >= quiet_until) return;
    if (wait([&, before = last_bytes_at_] { return last_bytes_at_ != before; }, std::min(most, quiet_until)) ==
        Waited::kGone) {
      return;
    }
  }
}

SessionReport Session::Run::finish(SessionEnd end) {
  close_port();
  tape_.end_frame();
  take_notes(std::nullopt);
  SessionReport report;
  report.port = port_name_;
  report.bytes_received = bytes_received_;
  report.reconnections = reconnections_;
  const bool lost = writer_ != nullptr && writer_->bytes_lost() != 0;
  report.end = lost && end == SessionEnd::kFinished ? SessionEnd::kDiskFull : end;
  const model::HostTime now = clock_.now();
  proto::HostNote closing;
  closing.mutable_closing()->set_utc_us(static_cast<std::uint64_t>(now.since_epoch.count()));
  closing.mutable_closing()->set_reason(std::string(to_string(report.end)));
  if (const auto frame = record::note_frame(closing)) decoder_.feed(*frame);
  decoder_.finish();
  if (writer_ == nullptr) return report;
  const auto closed = writer_->close(std::string(to_string(report.end)), now);
  report.recording = {writer_->bytes_written(), writer_->bytes_lost()};
  if (!closed) {
    events_.remark(closed.error().message);
    if (report.end == SessionEnd::kFinished) report.end = SessionEnd::kDiskFull;
  }
  return report;
}

void Session::Run::take_notes(std::optional<std::uint64_t> scan) {
  if (!options_.notes_due) return;
  for (const proto::HostNote& note : options_.notes_due(scan)) tape_.note(note);
}

void Session::Run::note_port(proto::PortState state) {
  proto::HostNote note;
  note.mutable_port()->set_state(state);
  note.mutable_port()->set_name(options_.port_label.empty() ? port_name_ : options_.port_label);
  note.mutable_port()->set_utc_us(static_cast<std::uint64_t>(clock_.now().since_epoch.count()));
  tape_.note(note);
}

void Session::Run::request(Command command) {
  boost::asio::post(context_, [this, command = std::move(command)] { requests_.push_back(command); });
}

void Session::Run::request_keep_alive() {
  boost::asio::post(context_, [this] {
    if (!running_) return;
    Command alive;
    alive.mutable_keep_alive();
    alive.set_id(next_id_++);
    send(alive);
  });
}

void Session::Run::request_stop() {
  boost::asio::post(context_, [this] { stop_asked_ = true; });
}

void Session::Run::add_mark(proto::Mark mark) {
  boost::asio::post(context_, [this, mark = std::move(mark)] {
    proto::HostNote note;
    *note.mutable_mark() = mark;
    tape_.note(note);
  });
}

}  // namespace host::link
