// SPDX-License-Identifier: Apache-2.0
#include "host/simulate/serve.h"

#include <gtest/gtest.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <thread>

#include "tests/unit/host/simulate/session_fixture.h"

namespace host::simulate {
namespace {

/// The other end: reads blocks as the virtual jig does and answers each.
class JigEnd {
 public:
  explicit JigEnd(int fd) : fd_(fd) {}
  /// False at the end of the stream.
  bool take() {
    if (!read_all(&header, sizeof(header))) return false;
    edges.resize(header.edge_count);
    return read_all(&codes, sizeof(codes)) && read_all(edges.data(), edges.size() * sizeof(wire::ScanEdge));
  }
  void answer(std::uint64_t from_scan) {
    const wire::JigOutputs outputs{.from_scan = from_scan, .gates = 0, .ps_on_driven = 0};
    EXPECT_EQ(write(fd_, &outputs, sizeof(outputs)), static_cast<ssize_t>(sizeof(outputs)));
  }

  wire::ScanBlockHeader header;
  wire::ScanCodes codes{};
  std::vector<wire::ScanEdge> edges;

 private:
  bool read_all(void* to, std::size_t size) {
    auto* bytes = static_cast<char*>(to);
    for (std::size_t done = 0; done < size;) {
      const ssize_t count = read(fd_, bytes + done, size - done);
      if (count <= 0) return false;
      done += static_cast<std::size_t>(count);
    }
    return true;
  }
  int fd_;
};

class ServeTest : public testing::Test {
 protected:
  void SetUp() override { ASSERT_EQ(socketpair(AF_UNIX, SOCK_STREAM, 0, ends_), 0); }
  void TearDown() override {
    close(ends_[0]);
    if (ends_[1] >= 0) close(ends_[1]);
  }
  void close_jig_end() {
    close(ends_[1]);
    ends_[1] = -1;
  }
  Supply supply_ = *Supply::create("healthy", 1, reference_jig());
  int ends_[2] = {-1, -1};
};

TEST_F(ServeTest, SendsBlocksInLockStepWithTheHooksCount) {
  std::vector<std::uint64_t> hooked;
  ServeOptions options;
  options.duration_scans = 2 * kHookInterval;
  options.before_scan = [&](std::uint64_t first_scan) -> std::expected<std::uint32_t, std::string> {
    hooked.push_back(first_scan);
    return static_cast<std::uint32_t>(3 + hooked.size());
  };
  std::thread jig([&] {
    JigEnd end(ends_[1]);
    for (std::uint64_t block = 0; block < 2 * kHookInterval / 32; ++block) {
      ASSERT_TRUE(end.take());
      EXPECT_EQ(end.header.magic, wire::kScanBlockMagic);
      EXPECT_EQ(end.header.first_scan, block * 32);
      EXPECT_EQ(end.header.commands_expected, block < kHookInterval / 32 ? 4u : 5u);
      pollfd ahead{ends_[1], POLLIN, 0};
      EXPECT_EQ(poll(&ahead, 1, 0), 0) << "a block before the answer to the last one";
      end.answer((block + 1) * 32);
    }
  });
  const auto result = serve(ends_[0], supply_, options);
  jig.join();
  ASSERT_TRUE(result.has_value()) << result.error();
  EXPECT_EQ(result->scans, 2 * kHookInterval);
  EXPECT_FALSE(result->stopped);
  EXPECT_EQ(hooked, (std::vector<std::uint64_t>{0, kHookInterval}));
}

TEST_F(ServeTest, AHooksErrorEndsIt) {
  ServeOptions options;
  options.duration_scans = 32;
  options.before_scan = [](std::uint64_t) -> std::expected<std::uint32_t, std::string> {
    return std::unexpected("the port is gone");
  };
  const auto result = serve(ends_[0], supply_, options);
  ASSERT_FALSE(result.has_value());
  EXPECT_EQ(result.error(), "the port is gone");
}

TEST_F(ServeTest, SaysThatTheJigClosed) {
  ServeOptions options;
  options.duration_scans = 3200;
  close_jig_end();
  const auto result = serve(ends_[0], supply_, options);
  ASSERT_FALSE(result.has_value());
  EXPECT_EQ(result.error(), "the virtual jig closed the scan socket");
}

TEST_F(ServeTest, DoesNotWaitForEver) {
  ServeOptions options;
  options.duration_scans = 32;
  options.reply_timeout = std::chrono::milliseconds(50);
  const auto result = serve(ends_[0], supply_, options);
  ASSERT_FALSE(result.has_value());
  EXPECT_EQ(result.error(), "the virtual jig did not answer in time");
}

TEST_F(ServeTest, RefusesAnAnswerForAnotherBlock) {
  ServeOptions options;
  options.duration_scans = 32;
  std::thread jig([&] {
    JigEnd end(ends_[1]);
    EXPECT_TRUE(end.take());
    end.answer(96);
  });
  const auto result = serve(ends_[0], supply_, options);
  jig.join();
  ASSERT_FALSE(result.has_value());
  EXPECT_EQ(result.error(), "the virtual jig answered for scan 96 instead of 32");
}

TEST_F(ServeTest, StopsWhenTold) {
  std::atomic<bool> stop = false;
  ServeOptions options;
  options.duration_scans = 1'000'000'000;
  options.stop = &stop;
  std::thread jig([&] {
    JigEnd end(ends_[1]);
    std::uint64_t taken = 0;
    while (end.take()) {
      if (++taken == 10) stop = true;
      end.answer(taken * 32);
      if (taken == 10) break;
    }
  });
  const auto result = serve(ends_[0], supply_, options);
  jig.join();
  ASSERT_TRUE(result.has_value());
  EXPECT_TRUE(result->stopped);
  EXPECT_EQ(result->scans, 320u);
}

// At real pace a block is sent when its last scan is due: 100 ms of scans take 100 ms, or more on a busy machine.
TEST_F(ServeTest, KeepsRealPace) {
  ServeOptions options;
  options.duration_scans = 3200;
  options.pace = Pace::kReal;
  std::thread jig([&] {
    JigEnd end(ends_[1]);
    for (std::uint64_t block = 0; block < 100 && end.take(); ++block) end.answer((block + 1) * 32);
  });
  const auto begin = std::chrono::steady_clock::now();
  const auto result = serve(ends_[0], supply_, options);
  const std::chrono::duration<double> took = std::chrono::steady_clock::now() - begin;
  jig.join();
  ASSERT_TRUE(result.has_value());
  EXPECT_GE(took.count(), 0.0999);
}

}  // namespace
}  // namespace host::simulate
