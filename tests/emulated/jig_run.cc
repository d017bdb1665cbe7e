// SPDX-License-Identifier: Apache-2.0
#include "tests/emulated/jig_run.h"

#include <fcntl.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>
#include <stdexcept>

#include "host/app/virtual_jig.h"
#include "proto/wire/frame.h"

namespace emulated {
namespace {

constexpr int kPatienceMs = 20'000;

class JigRun {
 public:
  explicit JigRun(const std::filesystem::path& folder)
      : scans_(read_file(folder / "scans.bin")), commands_(read_file(folder / "commands.bin")) {
    auto started = host::app::VirtualJig::start(
        STEADYRAIL_VIRTUAL_JIG, "J-01", std::filesystem::exists(folder / "bench") ? "bench" : "observe", "wait");
    if (!started) throw std::runtime_error(started.error());
    jig_ = std::move(*started);
    port_ = open(jig_->terminal().c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    if (port_ < 0) throw std::runtime_error("the jig's terminal cannot be opened");
  }
  ~JigRun() {
    if (port_ >= 0) close(port_);
  }
  JigRun(const JigRun&) = delete;
  JigRun& operator=(const JigRun&) = delete;

  Bytes run() {
    const auto frames = split_frames(commands_);
    write_port(std::array{wire::kDelimiter});
    std::size_t sent = 0;
    for (std::size_t at = 0; at < scans_.size();) {
      wire::ScanBlockHeader header;
      std::memcpy(&header, scans_.data() + at, sizeof header);
      const std::size_t bytes = sizeof header + sizeof(wire::ScanCodes) + header.edge_count * sizeof(wire::ScanEdge);
      while (sent < header.commands_expected) write_port(frames.at(sent++));
      send_block(std::span(scans_).subspan(at, bytes));
      at += bytes;
    }
    shutdown(jig_->scan_socket(), SHUT_WR);
    while (read_port()) {
    }
    return heard_;
  }

 private:
  void write_port(std::span<const std::byte> bytes) {
    while (!bytes.empty()) {
      const ssize_t count = write(port_, bytes.data(), bytes.size());
      if (count > 0) bytes = bytes.subspan(static_cast<std::size_t>(count));
      if (count < 0 && errno != EAGAIN) throw std::runtime_error("the jig's terminal takes no command");
      if (count < 0 && !read_port()) throw std::runtime_error("the jig's terminal closed");
    }
  }

  void send_block(std::span<const std::byte> block) {
    if (send(jig_->scan_socket(), block.data(), block.size(), MSG_NOSIGNAL) != static_cast<ssize_t>(block.size())) {
      throw std::runtime_error("the jig takes no scans");
    }
    for (;;) {
      wire::JigOutputs outputs;
      const ssize_t count = recv(jig_->scan_socket(), &outputs, sizeof outputs, MSG_DONTWAIT);
      if (count == static_cast<ssize_t>(sizeof outputs)) return;
      if (count == 0) throw std::runtime_error("the jig ended early");
      wait(true);
    }
  }

  /// Takes what the terminal holds, waiting for it; false when the jig has closed it.
  bool read_port() {
    wait(false);
    return open_;
  }

  void wait(bool or_outputs) {
    std::array<pollfd, 2> wanted{{{.fd = port_, .events = POLLIN, .revents = 0},
                                  {.fd = or_outputs ? jig_->scan_socket() : -1, .events = POLLIN, .revents = 0}}};
    if (poll(wanted.data(), wanted.size(), kPatienceMs) <= 0) throw std::runtime_error("the jig fell silent");
    if (wanted[0].revents == 0) return;
    std::array<std::byte, 65536> bytes;
    const ssize_t count = read(port_, bytes.data(), bytes.size());
    if (count > 0) heard_.insert(heard_.end(), bytes.begin(), bytes.begin() + count);
    if (count == 0 || (count < 0 && errno != EAGAIN)) open_ = false;
    if (!open_ && or_outputs) throw std::runtime_error("the jig closed its terminal early");
  }

  Bytes scans_;
  Bytes commands_;
  std::unique_ptr<host::app::VirtualJig> jig_;
  int port_ = -1;
  bool open_ = true;
  Bytes heard_;
};

}  // namespace

Bytes run_virtual_jig(const std::filesystem::path& folder) {
  return JigRun(folder).run();
}

}  // namespace emulated
