// SPDX-License-Identifier: Apache-2.0
#include "host/app/virtual_jig.h"

#include <fcntl.h>
#include <poll.h>
#include <spawn.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <chrono>
#include <csignal>
#include <cstring>
#include <thread>
#include <utility>

#include <fmt/format.h>

namespace host::app {
namespace {

constexpr int kAnnounceMs = 10'000;
constexpr int kEndMs = 6'000;  // the jig flushes what it holds for up to 5 s
constexpr int kSignalledMs = 2'000;
constexpr int kChildScanFd = 3;
constexpr int kChildAnnounceFd = 4;
constexpr std::size_t kPathBytesMax = 4096;

/// A descriptor that is closed when it goes.
class Descriptor {
 public:
  explicit Descriptor(int number) : number_(number) {}
  ~Descriptor() {
    if (number_ >= 0) close(number_);
  }
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  int number() const { return number_; }
  int release() { return std::exchange(number_, -1); }

 private:
  int number_;
};

/// The same file under a number above those the child gets, closed on exec.
int lift(int descriptor) {
  const int lifted = fcntl(descriptor, F_DUPFD_CLOEXEC, kChildAnnounceFd + 1);
  close(descriptor);
  return lifted;
}

std::expected<pid_t, std::string> spawn(const std::string& program, const std::string& jig_id, const std::string& mode,
                                        const std::string& line, int scan_fd, int announce_fd) {
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_adddup2(&actions, scan_fd, kChildScanFd);
  posix_spawn_file_actions_adddup2(&actions, announce_fd, kChildAnnounceFd);
  posix_spawnattr_t attributes;
  posix_spawnattr_init(&attributes);
  // A process group of its own: Ctrl-C is for this program alone, which then ends the session in order. The child
  // starts with no signal blocked.
  sigset_t none;
  sigemptyset(&none);
  posix_spawnattr_setsigmask(&attributes, &none);
  posix_spawnattr_setpgroup(&attributes, 0);
  // Ignored signals would stay ignored.
  sigset_t ignored_here;
  sigemptyset(&ignored_here);
  sigaddset(&ignored_here, SIGPIPE);
  sigaddset(&ignored_here, SIGXFSZ);
  posix_spawnattr_setsigdefault(&attributes, &ignored_here);
  posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETPGROUP | POSIX_SPAWN_SETSIGDEF);
  std::array<std::string, 11> words{program,
                                    "--scan-fd",
                                    std::to_string(kChildScanFd),
                                    "--announce-fd",
                                    std::to_string(kChildAnnounceFd),
                                    "--jig-id",
                                    jig_id,
                                    "--mode",
                                    mode,
                                    "--line",
                                    line};
  std::array<char*, words.size() + 1> arguments{};
  for (std::size_t i = 0; i < words.size(); ++i) arguments[i] = words[i].data();
  pid_t child = -1;
  const int fault = posix_spawn(&child, program.c_str(), &actions, &attributes, arguments.data(), environ);
  posix_spawn_file_actions_destroy(&actions);
  posix_spawnattr_destroy(&attributes);
  if (fault != 0) return std::unexpected(fmt::format("{}: cannot be started: {}", program, std::strerror(fault)));
  return child;
}

/// The line the child announces. Empty: it ended or kept silent.
std::string announced(int descriptor) {
  const auto until = std::chrono::steady_clock::now() + std::chrono::milliseconds(kAnnounceMs);
  std::string text;
  while (text.size() < kPathBytesMax) {
    const auto left = std::chrono::duration_cast<std::chrono::milliseconds>(until - std::chrono::steady_clock::now());
    pollfd wanted{.fd = descriptor, .events = POLLIN, .revents = 0};
    if (left.count() <= 0 || poll(&wanted, 1, static_cast<int>(left.count())) == 0) return "";
    std::array<char, 256> piece{};
    const ssize_t got = read(descriptor, piece.data(), piece.size());
    if (got < 0 && errno == EINTR) continue;
    if (got <= 0) return "";
    text.append(piece.data(), static_cast<std::size_t>(got));
    if (const std::size_t end = text.find('\n'); end != std::string::npos) return text.substr(0, end);
  }
  return "";
}

}  // namespace

std::expected<std::unique_ptr<VirtualJig>, std::string> VirtualJig::start(const std::string& program,
                                                                          const std::string& jig_id,
                                                                          const std::string& mode,
                                                                          const std::string& line) {
  std::array<int, 2> sockets{};
  std::array<int, 2> pipe_ends{};
  if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, sockets.data()) != 0) {
    return std::unexpected(fmt::format("no socket pair: {}", std::strerror(errno)));
  }
  const Descriptor ours(lift(sockets[0]));
  const Descriptor theirs(lift(sockets[1]));
  if (pipe2(pipe_ends.data(), O_CLOEXEC) != 0) {
    return std::unexpected(fmt::format("no pipe: {}", std::strerror(errno)));
  }
  const Descriptor read_end(lift(pipe_ends[0]));
  std::unique_ptr<VirtualJig> jig(new VirtualJig);
  {
    const Descriptor write_end(lift(pipe_ends[1]));
    const auto child = spawn(program, jig_id, mode, line, theirs.number(), write_end.number());
    if (!child) return std::unexpected(child.error());
    jig->child_ = *child;
  }  // so that the child's end is the only one, and its death is seen
  jig->scan_socket_ = fcntl(ours.number(), F_DUPFD_CLOEXEC, 0);
  jig->terminal_ = announced(read_end.number());
  if (jig->terminal_.empty()) return std::unexpected(fmt::format("{}: did not open its terminal", program));
  return jig;
}

VirtualJig::~VirtualJig() {
  if (scan_socket_ >= 0) close(scan_socket_);
  if (child_ < 0 || wait_for_exit(kEndMs)) return;
  kill(child_, SIGTERM);
  if (wait_for_exit(kSignalledMs)) return;
  kill(child_, SIGKILL);
  waitpid(child_, nullptr, 0);
}

bool VirtualJig::wait_for_exit(int milliseconds) {
  constexpr std::chrono::milliseconds kLook{5};
  const auto until = std::chrono::steady_clock::now() + std::chrono::milliseconds(milliseconds);
  do {
    if (waitpid(child_, nullptr, WNOHANG) != 0) return true;
    std::this_thread::sleep_for(kLook);
  } while (std::chrono::steady_clock::now() < until);
  return false;
}

}  // namespace host::app
