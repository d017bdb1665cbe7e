// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/serve.h"

#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <system_error>
#include <thread>
#include <vector>

namespace host::simulate {
namespace {

using Clock = std::chrono::steady_clock;
using Failure = std::unexpected<std::string>;

std::string system_words(int error) {
  return std::generic_category().message(error);
}

/// Waits until the socket is ready for `events` or the deadline passes.
std::expected<void, std::string> wait_ready(int fd, short events, Clock::time_point deadline) {
  for (;;) {
    const auto left = std::chrono::duration_cast<std::chrono::milliseconds>(deadline - Clock::now());
    if (left.count() <= 0) return Failure("the virtual jig did not answer in time");
    pollfd entry{fd, events, 0};
    const int ready = poll(&entry, 1, static_cast<int>(left.count()));
    if (ready > 0) return {};
    if (ready < 0 && errno != EINTR) return Failure("waiting for the virtual jig failed: " + system_words(errno));
  }
}

std::expected<void, std::string> send_all(int fd, const std::vector<std::byte>& bytes, Clock::time_point deadline) {
  std::size_t sent = 0;
  while (sent < bytes.size()) {
    const ssize_t count = send(fd, bytes.data() + sent, bytes.size() - sent, MSG_NOSIGNAL | MSG_DONTWAIT);
    if (count > 0) {
      sent += static_cast<std::size_t>(count);
    } else if (count < 0 && (errno == EAGAIN || errno == EWOULDBLOCK)) {
      if (auto ready = wait_ready(fd, POLLOUT, deadline); !ready) return ready;
    } else if (count < 0 && (errno == EPIPE || errno == ECONNRESET)) {
      return Failure("the virtual jig closed the scan socket");
    } else if (count < 0 && errno != EINTR) {
      return Failure("sending scans to the virtual jig failed: " + system_words(errno));
    }
  }
  return {};
}

std::expected<wire::JigOutputs, std::string> receive_outputs(int fd, Clock::time_point deadline) {
  std::array<std::byte, sizeof(wire::JigOutputs)> bytes;
  std::size_t received = 0;
  while (received < bytes.size()) {
    const ssize_t count = recv(fd, bytes.data() + received, bytes.size() - received, MSG_DONTWAIT);
    if (count > 0) {
      received += static_cast<std::size_t>(count);
    } else if (count == 0 || errno == ECONNRESET) {
      return Failure("the virtual jig closed the scan socket");
    } else if (errno == EAGAIN || errno == EWOULDBLOCK) {
      if (auto ready = wait_ready(fd, POLLIN, deadline); !ready) return Failure(ready.error());
    } else if (errno != EINTR) {
      return Failure("reading from the virtual jig failed: " + system_words(errno));
    }
  }
  wire::JigOutputs outputs;
  std::memcpy(&outputs, bytes.data(), sizeof(outputs));
  return outputs;
}

void append(std::vector<std::byte>& bytes, const void* data, std::size_t size) {
  const auto* begin = static_cast<const std::byte*>(data);
  bytes.insert(bytes.end(), begin, begin + size);
}

/// One message: header, codes, edges.
void pack(std::vector<std::byte>& bytes, std::uint64_t first_scan, std::uint32_t commands_expected,
          const wire::ScanCodes& codes, const std::vector<wire::ScanEdge>& edges) {
  wire::ScanBlockHeader header;
  header.edge_count = static_cast<std::uint32_t>(edges.size());
  header.first_scan = first_scan;
  header.commands_expected = commands_expected;
  bytes.clear();
  append(bytes, &header, sizeof(header));
  append(bytes, codes.data(), sizeof(codes));
  append(bytes, edges.data(), edges.size() * sizeof(wire::ScanEdge));
}

bool set_by(const std::atomic<bool>* flag) {
  return flag != nullptr && flag->load();
}

/// Sleeps until the block's last scan is due, in slices so that the stop flag is seen.
void pace(Clock::time_point begin, double device_s, const std::atomic<bool>* stop) {
  constexpr auto kSlice = std::chrono::milliseconds(50);
  const auto due = begin + std::chrono::duration_cast<Clock::duration>(std::chrono::duration<double>(device_s));
  while (Clock::now() < due && !set_by(stop)) {
    std::this_thread::sleep_until(std::min(due, Clock::now() + kSlice));
  }
}

}  // namespace

std::expected<ServeResult, std::string> serve(int socket_fd, ScanSource& source, const ServeOptions& options) {
  wire::ScanCodes codes;
  std::vector<wire::ScanEdge> edges;
  std::vector<std::byte> bytes;
  wire::JigOutputs outputs;
  ServeResult result;
  std::uint32_t commands_expected = 0;
  const auto begin = Clock::now();
  while (result.scans < options.duration_scans) {
    if (set_by(options.stop)) {
      result.stopped = true;
      break;
    }
    const std::uint64_t first_scan = source.next_scan();
    if (options.before_scan && first_scan % kHookInterval == 0) {
      const auto count = options.before_scan(first_scan);
      if (!count) return Failure(count.error());
      commands_expected = *count;
    }
    source.next_block(codes, edges, outputs);
    if (options.pace == Pace::kReal) {
      pace(begin, static_cast<double>(result.scans + codes.size()) / source.scan_rate_hz(), options.stop);
    }
    pack(bytes, first_scan, commands_expected, codes, edges);
    const auto deadline = Clock::now() + options.reply_timeout;
    if (auto sent = send_all(socket_fd, bytes, deadline); !sent) return Failure(sent.error());
    const auto answer = receive_outputs(socket_fd, deadline);
    if (!answer) return Failure(answer.error());
    outputs = *answer;
    if (outputs.from_scan != source.next_scan()) {
      return Failure("the virtual jig answered for scan " + std::to_string(outputs.from_scan) + " instead of " +
                     std::to_string(source.next_scan()));
    }
    result.scans += codes.size();
  }
  return result;
}

}  // namespace host::simulate
