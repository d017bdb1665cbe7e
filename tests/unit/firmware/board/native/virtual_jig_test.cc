// SPDX-License-Identifier: Apache-2.0
// The real program behind its pseudo-terminal, fed over a socket pair.
#include <fcntl.h>
#include <gtest/gtest.h>
#include <poll.h>
#include <signal.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <termios.h>
#include <unistd.h>

#include <string>
#include <vector>

#include "proto/wire/scan_stream.h"
#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

using testing::of_kind;
namespace proto = steadyrail::proto;

constexpr int kPatienceMs = 20000;
constexpr const char* kProgram = STEADYRAIL_BUILD_DIR "/bin/steadyrail-virtual-jig";

std::int16_t lively(std::uint64_t scan, std::size_t channel) {
  testing::Random random(scan * 24 + channel);
  random.next();
  return static_cast<std::int16_t>(1000 * static_cast<std::int32_t>(channel) - 12000 + random.between(-40, 40));
}

/// Runs the program; the destructor ends it.
class Process {
 public:
  explicit Process(const std::vector<std::string>& options, bool with_fds = true) {
    std::array<int, 2> sockets{};
    std::array<int, 2> announce{};
    EXPECT_EQ(socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, sockets.data()), 0);
    EXPECT_EQ(pipe2(announce.data(), O_CLOEXEC), 0);
    std::array<int, 2> errors{};
    EXPECT_EQ(pipe2(errors.data(), O_CLOEXEC), 0);
    pid_ = fork();
    if (pid_ == 0) {
      fcntl(sockets[1], F_SETFD, 0);
      fcntl(announce[1], F_SETFD, 0);
      dup2(errors[1], STDERR_FILENO);
      std::vector<std::string> words{kProgram};
      if (with_fds) {
        words.insert(words.end(),
                     {"--scan-fd", std::to_string(sockets[1]), "--announce-fd", std::to_string(announce[1])});
      }
      words.insert(words.end(), options.begin(), options.end());
      std::vector<char*> arguments;
      for (std::string& word : words) arguments.push_back(word.data());
      arguments.push_back(nullptr);
      execv(kProgram, arguments.data());
      _exit(127);
    }
    close(sockets[1]);
    close(announce[1]);
    close(errors[1]);
    scans_ = sockets[0];
    announce_ = announce[0];
    errors_ = errors[0];
  }

  ~Process() {
    if (pid_ > 0) kill(pid_, SIGKILL);
    if (pid_ > 0) waitpid(pid_, nullptr, 0);
    for (const int fd : {scans_, announce_, errors_, port_}) {
      if (fd >= 0) close(fd);
    }
  }
  Process(const Process&) = delete;
  Process& operator=(const Process&) = delete;

  void open_port() {
    std::string path(200, 0);
    const ssize_t count = read(announce_, path.data(), path.size());
    ASSERT_GT(count, 1);
    path.resize(static_cast<std::size_t>(count) - 1);
    port_ = open(path.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    ASSERT_GE(port_, 0);
    send_bytes(std::array{wire::kDelimiter});
  }

  void send_bytes(std::span<const std::byte> bytes) {
    ASSERT_EQ(write(port_, bytes.data(), bytes.size()), static_cast<ssize_t>(bytes.size()));
  }

  void send(proto::HostToJig command) {
    command.set_id(++commands);
    send_bytes(testing::framed(command.SerializeAsString()));
  }

  /// Sends a command and reads until it is answered.
  proto::Acknowledgement ask(const proto::HostToJig& command) {
    send(command);
    for (;;) {
      if (!read_some()) return {};
      const auto answers = of_kind(frames(), proto::JigToHost::kAcknowledgement);
      if (!answers.empty() && answers.back().acknowledgement().id() == commands)
        return answers.back().acknowledgement();
    }
  }

  void start(std::uint32_t line_bytes_per_s = 200000) {
    proto::HostToJig command;
    command.mutable_identify();
    EXPECT_EQ(ask(command).refusal(), proto::REFUSAL_NONE);
    command.mutable_configure()->set_scans_per_window(32);
    command.mutable_configure()->set_line_bytes_per_s(line_bytes_per_s);
    EXPECT_EQ(ask(command).refusal(), proto::REFUSAL_NONE);
    command.mutable_start();
    EXPECT_EQ(ask(command).refusal(), proto::REFUSAL_NONE);
  }

  void send_block(std::uint32_t commands_expected) {
    const ScanBlock block = testing::block_of(next_scan_, lively);
    wire::ScanBlockHeader header;
    header.first_scan = next_scan_;
    header.commands_expected = commands_expected;
    next_scan_ += 32;
    ASSERT_EQ(::send(scans_, &header, sizeof header, MSG_NOSIGNAL), static_cast<ssize_t>(sizeof header));
    ASSERT_EQ(::send(scans_, &block.codes, sizeof block.codes, MSG_NOSIGNAL), static_cast<ssize_t>(sizeof block.codes));
  }

  bool outputs_within(int timeout_ms, wire::JigOutputs& out) {
    pollfd wanted{.fd = scans_, .events = POLLIN, .revents = 0};
    if (poll(&wanted, 1, timeout_ms) <= 0) return false;
    return recv(scans_, &out, sizeof out, MSG_WAITALL) == static_cast<ssize_t>(sizeof out);
  }

  /// Lock-step, reading the port as it fills.
  void play(std::size_t blocks) {
    for (std::size_t k = 0; k < blocks; ++k) {
      send_block(commands);
      wire::JigOutputs outputs;
      while (!outputs_within(0, outputs)) {
        if (!read_some(true)) return;
      }
      EXPECT_EQ(outputs.from_scan, next_scan_);
    }
  }

  /// Waits for bytes of the port (or the scan socket) and takes them; false in vain.
  bool read_some(bool or_scans = false) {
    std::array<pollfd, 2> wanted{{{.fd = port_, .events = POLLIN, .revents = 0},
                                  {.fd = or_scans ? scans_ : -1, .events = POLLIN, .revents = 0}}};
    if (poll(wanted.data(), 2, kPatienceMs) <= 0) {
      ADD_FAILURE() << "the jig says nothing";
      return false;
    }
    std::array<std::byte, 4096> bytes;
    const ssize_t count = read(port_, bytes.data(), std::min(chunk, bytes.size()));
    if (count > 0) heard_.bytes.insert(heard_.bytes.end(), bytes.begin(), bytes.begin() + count);
    return count > 0 || wanted[1].revents != 0;
  }

  void end_scans() {
    shutdown(scans_, SHUT_WR);
    std::array<std::byte, 4096> bytes;
    for (;;) {
      pollfd wanted{.fd = port_, .events = POLLIN, .revents = 0};
      if (poll(&wanted, 1, kPatienceMs) <= 0) return;
      const ssize_t count = read(port_, bytes.data(), bytes.size());
      if (count <= 0) return;  // hung up
      heard_.bytes.insert(heard_.bytes.end(), bytes.begin(), bytes.begin() + count);
    }
  }

  int exit_code() {
    int status = 0;
    EXPECT_EQ(waitpid(pid_, &status, 0), pid_);
    pid_ = -1;
    return WIFEXITED(status) ? WEXITSTATUS(status) : -WTERMSIG(status);
  }
  std::string complaint() {
    std::string words(2000, 0);
    const ssize_t count = read(errors_, words.data(), words.size());
    words.resize(count > 0 ? static_cast<std::size_t>(count) : 0);
    return words;
  }

  const std::vector<std::byte>& bytes() const { return heard_.bytes; }
  std::vector<testing::HeardFrame> frames() const { return testing::frames_in(heard_.bytes); }
  void stop_by(int signal_number) { kill(pid_, signal_number); }
  int scans() const { return scans_; }

  std::uint32_t commands = 0;
  std::size_t chunk = 4096;

 private:
  pid_t pid_ = -1;
  int scans_ = -1;
  int announce_ = -1;
  int errors_ = -1;
  int port_ = -1;
  std::uint64_t next_scan_ = 0;
  testing::MemoryLine heard_;
};

/// Scans told by window frames; expects no hole.
std::uint64_t scans_told(const std::vector<testing::HeardFrame>& frames) {
  std::uint64_t next = 0;
  for (const auto& message : of_kind(frames, proto::JigToHost::kWindows)) {
    EXPECT_EQ(message.windows().first_scan(), next);
    next += message.windows().scans_per_window() * message.windows().window_count();
  }
  return next;
}

TEST(VirtualJigTest, ServesAWholeSession) {
  Process jig({"--jig-id", "J-07", "--boot", "3"});
  jig.open_port();
  jig.start();
  jig.play(300);
  proto::HostToJig stop;
  stop.mutable_stop();
  EXPECT_EQ(jig.ask(stop).refusal(), proto::REFUSAL_NONE);
  jig.end_scans();
  EXPECT_EQ(jig.exit_code(), 0);
  const auto frames = jig.frames();
  EXPECT_EQ(scans_told(frames), 300U * 32);
  const auto hellos = of_kind(frames, proto::JigToHost::kHello);
  ASSERT_EQ(hellos.size(), 1U);
  EXPECT_EQ(hellos[0].hello().jig_id(), "J-07");
  EXPECT_TRUE(hellos[0].hello().simulated());
  EXPECT_EQ(hellos[0].boot(), 3U);
  for (std::size_t k = 0; k < frames.size(); ++k) EXPECT_EQ(frames[k].message.sequence(), k + 1);
  EXPECT_TRUE(frames.back().message.has_status());
  EXPECT_FALSE(frames.back().message.status().running());
}

TEST(VirtualJigTest, SaysTheSameBytesHoweverSlowlyTheHostReads) {
  std::vector<std::vector<std::byte>> runs;
  for (const std::size_t chunk : {4096U, 7U}) {
    Process jig({});
    jig.open_port();
    jig.chunk = chunk;
    jig.start(100000);
    jig.play(200);
    jig.end_scans();
    EXPECT_EQ(jig.exit_code(), 0);
    runs.push_back(jig.bytes());
  }
  EXPECT_GT(runs[0].size(), 5000U);
  EXPECT_EQ(runs[0], runs[1]);
}

TEST(VirtualJigTest, FlushesWhatItHoldsWhenTheScansEnd) {
  Process jig({});
  jig.open_port();
  jig.start();
  jig.play(77);
  jig.end_scans();
  EXPECT_EQ(jig.exit_code(), 0);
  EXPECT_EQ(scans_told(jig.frames()), 77U * 32);
}

TEST(VirtualJigTest, TakesNoBlockBeforeTheCommandsItNames) {
  Process jig({});
  jig.open_port();
  jig.start();
  jig.send_block(jig.commands + 1);
  wire::JigOutputs outputs;
  EXPECT_FALSE(jig.outputs_within(100, outputs));
  proto::HostToJig keep_alive;
  keep_alive.mutable_keep_alive();
  jig.send(keep_alive);
  EXPECT_TRUE(jig.outputs_within(kPatienceMs, outputs));
}

TEST(VirtualJigTest, DrivesItsOutputsInBenchOneBlockAhead) {
  Process jig({"--mode", "bench"});
  jig.open_port();
  jig.start();
  proto::HostToJig command;
  *command.mutable_describe_load_bank() = testing::ample_load_bank();
  jig.send(command);
  command.mutable_drive_ps_on()->set_on(true);
  jig.send(command);
  auto* step = command.mutable_load_steps()->add_steps();
  step->set_gate(3);
  step->set_on(true);
  step->set_after_us(100);
  jig.send(command);
  jig.send_block(jig.commands);
  wire::JigOutputs outputs;
  ASSERT_TRUE(jig.outputs_within(kPatienceMs, outputs));
  EXPECT_EQ(outputs.from_scan, 32U);
  EXPECT_EQ(outputs.gates, 0U);
  EXPECT_EQ(outputs.ps_on_driven, 1U);
  ASSERT_EQ(outputs.edge_count, 1U);
  EXPECT_EQ(outputs.edges[0].offset, 3U) << "100 us are 3.2 scans";
  EXPECT_EQ(outputs.edges[0].offset_256, 51U);
  EXPECT_EQ(outputs.edges[0].gates, 8U);
  jig.send_block(jig.commands);
  ASSERT_TRUE(jig.outputs_within(kPatienceMs, outputs));
  EXPECT_EQ(outputs.gates, 8U);
  EXPECT_EQ(outputs.edge_count, 0U);
}

TEST(VirtualJigTest, EndsCleanlyOnTerminateBeforeAndDuringARun) {
  Process idle({});
  idle.open_port();
  idle.stop_by(SIGTERM);
  EXPECT_EQ(idle.exit_code(), 0);
  Process running({});
  running.open_port();
  running.start();
  running.play(10);
  running.stop_by(SIGHUP);
  EXPECT_EQ(running.exit_code(), 0);
}

TEST(VirtualJigTest, EndsCleanlyOnTerminateWhileItWaitsForAHostThatDoesNotRead) {
  Process jig({});
  jig.open_port();
  jig.start(2000000);
  wire::JigOutputs outputs;
  std::size_t taken = 0;
  for (jig.send_block(0); jig.outputs_within(200, outputs); jig.send_block(0)) ++taken;
  EXPECT_LT(taken, 1000U);  // the terminal is full long before
  jig.stop_by(SIGTERM);
  EXPECT_EQ(jig.exit_code(), 0);
}

TEST(VirtualJigTest, NeverWaitsForTheHostWhenToldToDrop) {
  Process jig({"--line", "drop"});
  jig.open_port();
  jig.start(2000000);
  wire::JigOutputs outputs;
  for (int k = 0; k < 1000; ++k) {  // nobody reads: the terminal's buffer fills within a few blocks
    jig.send_block(0);
    ASSERT_TRUE(jig.outputs_within(kPatienceMs, outputs));
  }
  EXPECT_EQ(outputs.from_scan, 32000U);
}

TEST(VirtualJigTest, NamesWhatIsWrongWithItsOptions) {
  Process unknown({"--colour", "red"});
  EXPECT_EQ(unknown.exit_code(), 2);
  EXPECT_NE(unknown.complaint().find("unknown option --colour"), std::string::npos);
  Process mode({"--mode", "both"});
  EXPECT_EQ(mode.exit_code(), 2);
  EXPECT_NE(mode.complaint().find("--mode cannot be 'both'"), std::string::npos);
  Process bare({}, false);
  EXPECT_EQ(bare.exit_code(), 2);
  EXPECT_NE(bare.complaint().find("--scan-fd is missing"), std::string::npos);
}

TEST(VirtualJigTest, RefusesAStreamThatIsNone) {
  Process noise({});
  noise.open_port();
  const std::string words(64, 'x');
  ASSERT_EQ(send(noise.scans(), words.data(), words.size(), MSG_NOSIGNAL), 64);
  EXPECT_EQ(noise.exit_code(), 3);
  EXPECT_NE(noise.complaint().find("wrong mark"), std::string::npos);

  Process cut({});
  cut.open_port();
  const wire::ScanBlockHeader header;
  ASSERT_EQ(send(cut.scans(), &header, sizeof header, MSG_NOSIGNAL), static_cast<ssize_t>(sizeof header));
  shutdown(cut.scans(), SHUT_WR);
  EXPECT_EQ(cut.exit_code(), 3);
  EXPECT_NE(cut.complaint().find("ended inside a block"), std::string::npos);

  Process jump({});
  jump.open_port();
  wire::ScanBlockHeader ahead;
  ahead.first_scan = 64;
  ASSERT_EQ(send(jump.scans(), &ahead, sizeof ahead, MSG_NOSIGNAL), static_cast<ssize_t>(sizeof ahead));
  EXPECT_EQ(jump.exit_code(), 3);
  EXPECT_NE(jump.complaint().find("jumps from scan 0 to 64"), std::string::npos);
}

}  // namespace
}  // namespace firmware
