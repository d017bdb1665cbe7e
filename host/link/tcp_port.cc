// SPDX-License-Identifier: Apache-2.0
#include "host/link/tcp_port.h"

#include <charconv>
#include <chrono>
#include <cstdint>

#include <fcntl.h>
#include <boost/asio/connect.hpp>
#include <boost/asio/ip/tcp.hpp>

#include "host/link/asio_port.h"

namespace host::link {

using boost::asio::ip::tcp;

std::expected<std::unique_ptr<Port>, LinkError> open_tcp(boost::asio::io_context& context, const std::string& address) {
  constexpr std::chrono::seconds kConnectMost{5};
  struct Nothing {};
  const auto failed = [&](LinkFault fault, const std::string& why) {
    return std::unexpected(LinkError{fault, "tcp:" + address + ": " + why});
  };
  const std::size_t colon = address.rfind(':');
  if (colon == std::string::npos || colon == 0 || colon + 1 == address.size()) {
    return failed(LinkFault::kName, "not a network port; write tcp:HOST:PORT");
  }
  unsigned number = 0;
  const char* const end = address.data() + address.size();
  const auto parsed = std::from_chars(address.data() + colon + 1, end, number);
  if (parsed.ec != std::errc{} || parsed.ptr != end || number < 1 || number > 65535) {
    return failed(LinkFault::kName, "the port must be a number from 1 to 65535");
  }
  // Connecting has a context of its own: that of the session must not run before its reads are asked for.
  boost::asio::io_context connecting;
  boost::system::error_code error;
  tcp::resolver resolver(connecting);
  const auto places = resolver.resolve(address.substr(0, colon), address.substr(colon + 1), error);
  if (error) return failed(LinkFault::kNotThere, error.message());
  tcp::socket socket(connecting);
  error = boost::asio::error::would_block;
  boost::asio::async_connect(socket, places,
                             [&](const boost::system::error_code& outcome, const tcp::endpoint&) { error = outcome; });
  connecting.run_for(kConnectMost);
  if (error == boost::asio::error::would_block) return failed(LinkFault::kNotThere, "no answer within five seconds");
  if (error) return failed(LinkFault::kNotThere, error.message());
  const auto protocol = socket.local_endpoint(error).protocol();
  if (!error) error = socket.set_option(tcp::no_delay(true), error);
  if (error) return failed(LinkFault::kIo, error.message());
  const int handle = socket.release(error);
  if (error) return failed(LinkFault::kIo, error.message());
  ::fcntl(handle, F_SETFD, FD_CLOEXEC);
  return std::make_unique<AsioPort<tcp::socket, Nothing>>(tcp::socket(context, protocol, handle), Nothing{});
}

}  // namespace host::link
