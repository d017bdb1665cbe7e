// SPDX-License-Identifier: Apache-2.0
// Hours of a recording through decoding and detection: session_bench RECORDING [HOURS [LONG_RECORDING]]
// The recording's frames are repeated with their scans and sequence numbers moved on, so that HOURS (default 1) pass
// without a file of that size. Prints times real time on one core, of the recording as it is and of its windows alone,
// the cost of the live path at 3 Mbaud and the memory at the start and at the end. Every ratio comes from this one run.
// With LONG_RECORDING it measures nothing but writes those hours there, for the program itself to review.
#include <sys/resource.h>
#include <unistd.h>

#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "host/decode/decoder.h"
#include "host/detect/review.h"
#include "host/model/limit_sets.h"
#include "host/record/writer.h"
#include "link.pb.h"
#include "proto/wire/frame.h"
#include "recording.pb.h"

namespace {

using Bytes = std::vector<std::byte>;
double cpu_seconds() {
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  return static_cast<double>(usage.ru_utime.tv_sec + usage.ru_stime.tv_sec) +
         1e-6 * static_cast<double>(usage.ru_utime.tv_usec + usage.ru_stime.tv_usec);
}

double resident_mib() {
  std::ifstream statm("/proc/self/statm");
  double total = 0;
  double resident = 0;
  statm >> total >> resident;
  return resident * static_cast<double>(sysconf(_SC_PAGESIZE)) / (1024 * 1024);
}

/// Everything of a session between its header and its closing note.
struct Session {
  Bytes header_frame;
  std::vector<steadyrail::proto::JigToHost> frames;  // hello first
  std::uint64_t scans = 0;
  double scan_rate_hz = 0;
  steadyrail::proto::RecordingHeader header;
};

Session read_session(const char* path) {
  std::ifstream file(path, std::ios::binary);
  const std::string content((std::istreambuf_iterator<char>(file)), {});
  Session session;
  Bytes buffer(wire::kFrameBytesMax);
  for (std::size_t at = 0; at < content.size();) {
    const std::size_t end = content.find('\0', at);
    if (end == std::string::npos) break;
    const auto frame = std::as_bytes(std::span(content.data() + at, end - at));
    at = end + 1;
    if (frame.empty()) continue;
    const auto payload = wire::decode_frame(frame, buffer);
    if (!payload) continue;
    if (static_cast<unsigned char>((*payload)[0]) == 0x6A) {
      steadyrail::proto::RecordedNote note;
      if (note.ParseFromArray(payload->data(), static_cast<int>(payload->size())) && note.note().has_header()) {
        session.header = note.note().header();
        session.header_frame.assign(frame.begin(), frame.end());
        session.header_frame.push_back(std::byte{0});
      }
      continue;
    }
    auto& message = session.frames.emplace_back();
    if (!message.ParseFromArray(payload->data(), static_cast<int>(payload->size())))
      session.frames.pop_back();
    else if (message.has_windows()) {
      const auto& windows = message.windows();
      session.scans = windows.first_scan() + windows.window_count() * windows.scans_per_window();
    } else if (message.has_hello()) {
      session.scan_rate_hz = message.hello().scan_rate_hz();
    }
  }
  return session;
}

void move_event(steadyrail::proto::Event& event, std::uint64_t by) {
  if (event.has_excursion()) {
    auto& excursion = *event.mutable_excursion();
    excursion.set_start_scan(excursion.start_scan() + by);
    excursion.set_end_scan(excursion.end_scan() + by);
    excursion.set_extreme_scan(excursion.extreme_scan() + by);
  } else if (event.has_load_step()) {
    event.mutable_load_step()->set_scan(event.load_step().scan() + by);
  } else if (event.has_settled()) {
    event.mutable_settled()->set_before_scan(event.settled().before_scan() + by);
    event.mutable_settled()->set_after_scan(event.settled().after_scan() + by);
  } else if (event.has_edge()) {
    event.mutable_edge()->set_scan(event.edge().scan() + by);
  } else if (event.has_crossing()) {
    event.mutable_crossing()->set_scan_before(event.crossing().scan_before() + by);
  } else if (event.has_storm()) {
    event.mutable_storm()->set_first_scan(event.storm().first_scan() + by);
    event.mutable_storm()->set_last_scan(event.storm().last_scan() + by);
  }
}

/// One repetition of the session's frames, `by` scans on.
Bytes repetition(Session& session, std::uint64_t by, std::uint32_t& sequence, bool first) {
  Bytes bytes;
  std::string payload;
  Bytes frame(wire::kFrameBytesMax);
  for (const auto& original : session.frames) {
    if (original.has_hello() && !first) continue;
    steadyrail::proto::JigToHost message = original;
    message.set_sequence(sequence++);
    if (message.has_windows())
      message.mutable_windows()->set_first_scan(message.windows().first_scan() + by);
    else if (message.has_capture()) {
      message.mutable_capture()->set_first_scan(message.capture().first_scan() + by);
      message.mutable_capture()->set_trigger_scan(message.capture().trigger_scan() + by);
    } else if (message.has_event())
      move_event(*message.mutable_event(), by);
    else if (message.has_status())
      message.mutable_status()->set_scan(message.status().scan() + by);
    else if (message.has_time_mark())
      message.mutable_time_mark()->set_scan(message.time_mark().scan() + by);
    message.SerializeToString(&payload);
    const std::size_t used = wire::encode_frame(std::as_bytes(std::span(payload)), frame);
    bytes.insert(bytes.end(), frame.begin(), frame.begin() + static_cast<std::ptrdiff_t>(used));
  }
  return bytes;
}

/// The same session as a jig that keeps no captures and reports no events would have recorded it.
Session windows_only(Session session) {
  std::erase_if(session.frames, [](const auto& frame) { return frame.has_capture() || frame.has_event(); });
  return session;
}

struct Cost {
  double cpu_s = 0;
  double session_s = 0;
  double bytes = 0;
};

/// One way through the program, fed repetition by repetition; only the feeding is timed.
class Run {
 public:
  Run(Session& session, host::decode::Decoder& decoder, host::record::Writer* writer = nullptr)
      : session_(session), decoder_(decoder), writer_(writer) {
    decoder_.feed(session_.header_frame);
  }

  void round() {
    const Bytes bytes = repetition(session_, round_ * session_.scans, sequence_, round_ == 0);
    ++round_;
    const double cpu = cpu_seconds();
    for (std::size_t at = 0; at < bytes.size(); at += 65536) {
      const std::span piece(bytes.data() + at, std::min<std::size_t>(65536, bytes.size() - at));
      if (writer_ != nullptr) writer_->append(piece);
      decoder_.feed(piece);
    }
    cost_.cpu_s += cpu_seconds() - cpu;
    cost_.bytes += static_cast<double>(bytes.size());
    cost_.session_s += static_cast<double>(session_.scans) / session_.scan_rate_hz;
  }
  const Cost& cost() const { return cost_; }
  double times_real() const { return cost_.session_s / cost_.cpu_s; }

 private:
  Session& session_;
  host::decode::Decoder& decoder_;
  host::record::Writer* writer_;
  std::uint32_t sequence_ = 1;
  std::uint64_t round_ = 0;
  Cost cost_;
};

host::detect::ReviewOptions options_for(const Session& session) {
  host::detect::ReviewOptions options;
  if (auto limits = host::model::load_limits(session.header.edition())) options.limits = limits->set;
  return options;
}

}  // namespace

/// The session repeated to `hours` as a recording; cut at the end, as one of a port that went.
bool write_long(Session& session, double hours, const char* path) {
  std::ofstream file(path, std::ios::binary);
  const auto put = [&](const Bytes& bytes) {
    file.write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
  };
  put(session.header_frame);
  std::uint32_t sequence = 1;
  for (std::uint64_t scans = 0; static_cast<double>(scans) < hours * 3600 * session.scan_rate_hz;
       scans += session.scans) {
    put(repetition(session, scans, sequence, scans == 0));
  }
  return file.good();
}

int main(int argc, char** argv) {
  if (argc < 2) {
    std::fprintf(stderr, "usage: session_bench RECORDING [HOURS [LONG_RECORDING]]\n");
    return 2;
  }
  const double hours = argc > 2 ? std::atof(argv[2]) : 1;
  Session session = read_session(argv[1]);
  if (session.scans == 0 || session.scan_rate_hz == 0) {
    std::fprintf(stderr, "session_bench: %s holds no windows\n", argv[1]);
    return 2;
  }

  if (argc > 3) {
    if (write_long(session, hours, argv[3])) return 0;
    std::fprintf(stderr, "session_bench: cannot write %s\n", argv[3]);
    return 3;
  }
  Session quiet = windows_only(session);
  host::decode::Sink nothing;
  host::decode::Decoder decode_only(nothing);
  host::detect::Review quiet_review(options_for(session));
  host::decode::Decoder quiet_decoder(quiet_review);
  host::detect::Review review(options_for(session));
  host::decode::Decoder decoder(review);
  Run decoding(session, decode_only);
  Run windows(quiet, quiet_decoder);
  Run whole(session, decoder);
  const double before_mib = resident_mib();
  // Turn by turn, so that whatever else the machine does meets all of them alike.
  while (whole.cost().session_s < hours * 3600) {
    decoding.round();
    windows.round();
    whole.round();
  }
  const double after_mib = resident_mib();
  for (auto* one : {&decode_only, &quiet_decoder, &decoder}) one->finish();

  host::detect::Review live_review(options_for(session));
  host::decode::Decoder live_decoder(live_review);
  const std::string path = std::string(argv[1]) + ".bench-copy";
  auto writer = host::record::Writer::create(path, session.header);
  if (!writer) {
    std::fprintf(stderr, "session_bench: cannot write %s\n", path.c_str());
    return 3;
  }
  Run live(session, live_decoder, writer->get());
  while (live.cost().session_s < std::min(hours, 0.25) * 3600) live.round();
  (*writer)->discard();

  constexpr double kLineBytesPerS = 300'000;  // 3 Mbaud, 8N1
  std::printf("recording            %.1f s, repeated to %.2f h, %.0f B/s on the line, %.0f B/s of it windows\n",
              static_cast<double>(session.scans) / session.scan_rate_hz, whole.cost().session_s / 3600,
              whole.cost().bytes / whole.cost().session_s, windows.cost().bytes / windows.cost().session_s);
  std::printf("decode               %.0f x real time\n", decoding.times_real());
  std::printf("decode + detect      %.0f x real time with captures and events, %.0f x windows only\n",
              whole.times_real(), windows.times_real());
  std::printf("live path at 3 Mbaud 1/%.0f of a core (record + decode + detect, CPU seconds of all its threads)\n",
              1 / (live.cost().cpu_s / live.cost().bytes * kLineBytesPerS));
  std::printf("resident             %.1f MiB before, %.1f MiB after %.2f h\n", before_mib, after_mib,
              whole.cost().session_s / 3600);
  return 0;
}
