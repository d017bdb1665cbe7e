// SPDX-License-Identifier: Apache-2.0
#include "host/link/port.h"

#include <array>
#include <cerrno>
#include <chrono>
#include <string>

#include <gtest/gtest.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>
#include <boost/asio/ip/tcp.hpp>

#include "host/link/ports.h"
#include "tests/simulation/pseudo_terminal.h"
#include "tests/unit/host/link/fake_serial_fixture.h"

namespace host::link {
namespace {

using namespace std::chrono_literals;
using testing_jig::PseudoTerminal;

class PortTest : public testing::Test {
 protected:
  std::expected<std::unique_ptr<Port>, LinkError> open(const std::string& name, std::uint32_t baud = 2'000'000) {
    return open_port(context_, name, {.baud = baud});
  }
  LinkFault fault(const std::string& name) {
    const auto port = open(name);
    EXPECT_FALSE(port.has_value());
    if (port) return LinkFault::kIo;
    EXPECT_TRUE(port.error().message.find(name) != std::string::npos) << port.error().message;
    return port.error().fault;
  }
  void start(Port& port) {
    port.start_reading([this](Arrival arrival, std::span<const std::byte> bytes) {
      if (arrival == Arrival::kGone) ++gone_;
      for (const std::byte byte : bytes) received_ += static_cast<char>(byte);
    });
  }
  void run_until(const auto& done) {
    const auto until = std::chrono::steady_clock::now() + 5s;
    while (!done() && std::chrono::steady_clock::now() < until) {
      context_.restart();
      context_.run_one_for(50ms);
    }
    EXPECT_TRUE(done());
  }
  static std::vector<std::byte> bytes(std::string_view text) {
    const auto span = std::as_bytes(std::span(text));
    return {span.begin(), span.end()};
  }

  /// What every kind of port must do, with its far end at `descriptor`.
  void expect_carries_bytes_both_ways(Port& port, int descriptor) {
    start(port);
    const std::string all("\x00\x03\x04\x0a\x0d\x11\x13\x1a\x7f\xff", 10);  // what a terminal would change, too
    ASSERT_EQ(::write(descriptor, all.data(), all.size()), std::ssize(all));
    run_until([&] { return received_.size() >= all.size(); });
    EXPECT_EQ(received_, all);
    int written = 0;
    port.write(bytes(all), [&](bool sound) { written += sound ? 1 : 100; });
    port.write(bytes("second"), [&](bool sound) { written += sound ? 1 : 100; });
    run_until([&] { return written == 2; });
    std::array<char, 64> got{};
    std::size_t count = 0;
    while (count < all.size() + 6) {
      const ssize_t more = ::read(descriptor, got.data() + count, got.size() - count);
      ASSERT_GT(more, 0);
      count += static_cast<std::size_t>(more);
    }
    EXPECT_EQ(std::string(got.data(), count), all + "second");
  }

  boost::asio::io_context context_;
  std::string received_;
  int gone_ = 0;
};

TEST_F(PortTest, APseudoTerminalCarriesBytesAndGoesWithItsFarEnd) {
  PseudoTerminal terminal;
  auto port = open(terminal.path());
  ASSERT_TRUE(port.has_value()) << port.error().message;
  expect_carries_bytes_both_ways(**port, terminal.master());
  EXPECT_EQ(gone_, 0);
  terminal.unplug();
  run_until([&] { return gone_ != 0; });
  EXPECT_EQ(gone_, 1);
}

TEST_F(PortTest, ASerialPortOpensThroughTheLibraryAndGoesWhenUnplugged) {
  FakePorts machine;
  PseudoTerminal terminal;
  machine.plug("ttyJIG0", terminal.path(), {});
  auto port = open("/dev/ttyJIG0");
  ASSERT_TRUE(port.has_value()) << port.error().message;
  termios settings{};
  ASSERT_EQ(::tcgetattr(terminal.master(), &settings), 0);
  EXPECT_EQ(line_speed_baud(terminal.master()), 2'000'000u);
  EXPECT_EQ(settings.c_cc[VMIN], 1);
  EXPECT_EQ(settings.c_cflag & CSIZE, static_cast<tcflag_t>(CS8));
  EXPECT_EQ(settings.c_cflag & (PARENB | CSTOPB | CRTSCTS), 0u);
  EXPECT_EQ(settings.c_iflag & (IXON | IXOFF | ICRNL), 0u);
  EXPECT_EQ(settings.c_lflag & (ICANON | ECHO | ISIG), 0u);
  expect_carries_bytes_both_ways(**port, terminal.master());
  terminal.unplug();
  run_until([&] { return gone_ != 0; });
}

TEST_F(PortTest, TheOtherSpeedsAreTaken) {
  FakePorts machine;
  PseudoTerminal terminal;
  machine.plug("ttyJIG0", terminal.path(), {});
  for (const std::uint32_t baud : {921'600u, 3'000'000u}) {
    auto port = open("/dev/ttyJIG0", baud);
    ASSERT_TRUE(port.has_value()) << port.error().message;
    EXPECT_EQ(line_speed_baud(terminal.master()), baud);
  }
}

TEST_F(PortTest, ASecondOpenOfOursIsBusyUntilTheFirstCloses) {
  FakePorts machine;
  PseudoTerminal terminal;
  machine.plug("ttyJIG0", terminal.path(), {});
  auto port = open("/dev/ttyJIG0");
  ASSERT_TRUE(port.has_value());
  const auto again = open("/dev/ttyJIG0");
  ASSERT_FALSE(again.has_value());
  EXPECT_EQ(again.error().fault, LinkFault::kBusy);
  EXPECT_EQ(again.error().message, "/dev/ttyJIG0: the port is in use by another program");
  EXPECT_EQ(fault(terminal.path()), LinkFault::kBusy);
  port->reset();
  EXPECT_TRUE(open("/dev/ttyJIG0").has_value());
}

TEST_F(PortTest, ErrorsOfOpeningAreTold) {
  FakePorts machine;
  machine.plug_failing("ttyJIG1", EBUSY, {});
  machine.plug_failing("ttyJIG2", EACCES, {});
  EXPECT_EQ(fault("/dev/ttyJIG0"), LinkFault::kNotThere);
  EXPECT_EQ(fault("/dev/ttyJIG1"), LinkFault::kBusy);
  EXPECT_EQ(fault("/dev/ttyJIG2"), LinkFault::kPermission);
  EXPECT_EQ(fault("/dev/null"), LinkFault::kName);
  EXPECT_EQ(fault("/dev/pts/99999"), LinkFault::kNotThere);
  EXPECT_EQ(fault("COM3"), LinkFault::kName);
  EXPECT_EQ(fault(""), LinkFault::kName);
}

TEST_F(PortTest, ListsPortsWithTheirUsbIdentityWithoutOpeningAny) {
  FakePorts machine;
  machine.plug_failing("ttyJIG7", EBUSY, {.vendor = "0403", .product = "6015", .serial = "AB12"});
  PseudoTerminal terminal;
  machine.plug("ttyJIG0", terminal.path(), {});
  const auto found = ports();
  ASSERT_EQ(found.size(), 2u);
  EXPECT_EQ(found[0].name, "/dev/ttyJIG0");
  EXPECT_EQ(found[0].description, "bridge of a test - 0001") << "product and serial, as the library joins them";
  EXPECT_EQ(found[1].name, "/dev/ttyJIG7");
  ASSERT_TRUE(found[1].usb.has_value());
  EXPECT_EQ(*found[1].usb, (UsbIdentity{0x0403, 0x6015, "AB12"}));
  EXPECT_TRUE(found[0].openable);
}

TEST_F(PortTest, CandidatesComeByNameThenIdentityThenTheRest) {
  const UsbIdentity ours{1, 2, "A"};
  const UsbIdentity other{1, 2, "B"};
  const PortInfo lost{"/dev/ttyUSB0", "", ours, true, ""};
  const std::vector<PortInfo> present = {{"/dev/ttyS0", "", std::nullopt, true, ""},
                                         {"/dev/ttyUSB1", "", other, true, ""},
                                         {"/dev/ttyUSB2", "", other, false, "no permission"},
                                         {"/dev/ttyUSB3", "", ours, true, ""}};
  EXPECT_EQ(candidates(lost, present), (std::vector<std::string>{"/dev/ttyUSB0", "/dev/ttyUSB3", "/dev/ttyUSB1"}));
}

TEST_F(PortTest, TcpCarriesBytesAndGoesWithItsFarEnd) {
  using boost::asio::ip::tcp;
  boost::asio::io_context server;
  tcp::acceptor acceptor(server, tcp::endpoint(boost::asio::ip::address_v4::loopback(), 0));
  const std::string name = "tcp:127.0.0.1:" + std::to_string(acceptor.local_endpoint().port());
  auto port = open(name);
  ASSERT_TRUE(port.has_value()) << port.error().message;
  tcp::socket peer = acceptor.accept();
  expect_carries_bytes_both_ways(**port, peer.native_handle());
  peer.close();
  run_until([&] { return gone_ != 0; });
  acceptor.close();
  EXPECT_EQ(fault(name), LinkFault::kNotThere) << "nobody listens any more";
  EXPECT_EQ(fault("tcp:127.0.0.1"), LinkFault::kName);
  EXPECT_EQ(fault("tcp:no-such-host.invalid:5"), LinkFault::kNotThere);
}

TEST_F(PortTest, AfterCloseNoHandlerRuns) {
  PseudoTerminal terminal;
  auto port = open(terminal.path());
  start(**port);
  bool called = false;
  (*port)->write(bytes("x"), [&](bool) { called = true; });
  port->reset();
  ASSERT_EQ(::write(terminal.master(), "y", 1), 1);
  context_.restart();
  context_.run_for(50ms);
  EXPECT_TRUE(received_.empty());
  EXPECT_FALSE(called);
  EXPECT_EQ(gone_, 0);
}

}  // namespace
}  // namespace host::link
