// SPDX-License-Identifier: Apache-2.0
#include "host/link/serial_port.h"

#include <cerrno>
#include <cstring>
#include <memory>

#include <fcntl.h>
#include <libserialport.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>
#include <boost/asio/posix/stream_descriptor.hpp>

#include "host/link/asio_port.h"

namespace host::link {
namespace {

using Descriptor = boost::asio::posix::stream_descriptor;

struct SerialClose {
  void operator()(sp_port* port) const {
    sp_close(port);
    sp_free_port(port);
  }
};
using SerialHandle = std::unique_ptr<sp_port, SerialClose>;

std::unexpected<LinkError> failed(int number, const std::string& name) {
  const auto told = [&](LinkFault fault, const std::string& why) {
    return std::unexpected(LinkError{fault, name + ": " + why});
  };
  switch (number) {
    case ENOENT:
    case ENODEV:
    case ENXIO:
    case EIO:  // a pseudo-terminal whose far end has closed
      return told(LinkFault::kNotThere, "no such port; is the jig plugged in? `steadyrail ports` lists what is there");
    case EBUSY:
    case EWOULDBLOCK:
      return told(LinkFault::kBusy, "the port is in use by another program");
    case EACCES:
    case EPERM:
      return told(LinkFault::kPermission,
                  "no permission to open the port; on Debian, members of the group dialout may");
    case ENOTTY:
      return told(LinkFault::kName, "not a serial port");
    default:
      return told(LinkFault::kIo, std::strerror(number));
  }
}

// Another program that opens the port meanwhile would take part of the bytes: the kernel refuses it (but not to root),
// and the lock refuses a second session of ours even then.
int make_exclusive(int handle) {
  if (::flock(handle, LOCK_EX | LOCK_NB) != 0) return errno;
  if (::ioctl(handle, TIOCEXCL) != 0) return errno;
  if (::fcntl(handle, F_SETFD, FD_CLOEXEC) != 0) return errno;
  return 0;
}

// Raw bytes; a read waits for one byte at least: with VMIN 0 it returns 0, which Asio takes for the end of the stream.
int make_raw(int handle) {
  termios settings{};
  if (::tcgetattr(handle, &settings) != 0) return errno;
  ::cfmakeraw(&settings);
  settings.c_cc[VMIN] = 1;
  settings.c_cc[VTIME] = 0;
  settings.c_cflag |= CLOCAL | CREAD;
  return ::tcsetattr(handle, TCSANOW, &settings) == 0 ? 0 : errno;
}

int configure(sp_port* port, std::uint32_t baud) {
  const bool set = sp_set_baudrate(port, static_cast<int>(baud)) == SP_OK && sp_set_bits(port, 8) == SP_OK &&
                   sp_set_parity(port, SP_PARITY_NONE) == SP_OK && sp_set_stopbits(port, 1) == SP_OK &&
                   sp_set_flowcontrol(port, SP_FLOWCONTROL_NONE) == SP_OK;
  return set ? 0 : (errno == 0 ? EIO : errno);
}

}  // namespace

std::expected<std::unique_ptr<Port>, LinkError> open_serial_port(boost::asio::io_context& context,
                                                                 const std::string& name,
                                                                 const PortSettings& settings) {
  sp_port* found = nullptr;
  errno = 0;
  if (sp_get_port_by_name(name.c_str(), &found) != SP_OK) {
    return failed(::access(name.c_str(), F_OK) == 0 ? ENOTTY : ENOENT, name);
  }
  SerialHandle port(found);
  if (sp_open(port.get(), SP_MODE_READ_WRITE) != SP_OK) return failed(errno == 0 ? EIO : errno, name);
  int handle = -1;
  sp_get_port_handle(port.get(), &handle);
  int fault = make_exclusive(handle);
  if (fault == 0) fault = make_raw(handle);
  // After the C library's own settings, which know no speed that libserialport sets by number.
  if (fault == 0) fault = configure(port.get(), settings.baud);
  if (fault == EINVAL) {
    return std::unexpected(
        LinkError{LinkFault::kIo, name + ": the port does not take " + std::to_string(settings.baud) + " baud"});
  }
  if (fault != 0) return failed(fault, name);
  ::tcflush(handle, TCIFLUSH);  // what a program before us left unread is none of this session
  const int own = ::fcntl(handle, F_DUPFD_CLOEXEC, 0);
  if (own < 0) return failed(errno, name);
  return std::make_unique<AsioPort<Descriptor, SerialHandle>>(Descriptor(context, own), std::move(port));
}

std::expected<std::unique_ptr<Port>, LinkError> open_pseudo_terminal(boost::asio::io_context& context,
                                                                     const std::string& name) {
  struct Nothing {};
  const int handle = ::open(name.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
  if (handle < 0) return failed(errno, name);
  int fault = make_exclusive(handle);
  if (fault == 0) fault = make_raw(handle);
  if (fault != 0) {
    ::close(handle);
    return failed(fault, name);
  }
  return std::make_unique<AsioPort<Descriptor, Nothing>>(Descriptor(context, handle), Nothing{});
}

}  // namespace host::link
