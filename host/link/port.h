// SPDX-License-Identifier: Apache-2.0
// One open line to a jig: a serial port, a pseudo-terminal or a TCP connection. Asynchronous only, one owner: closing a
// serial port does not end a blocking read on Linux.
#pragma once

#include <cstddef>
#include <cstdint>
#include <expected>
#include <functional>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include <boost/asio/io_context.hpp>

#include "host/link/error.h"

namespace host::link {

enum class Arrival : std::uint8_t {
  kBytes,  // some came
  kGone,   // the far end or the port itself vanished; no more will come
};

/// All handlers run in the io_context given to open_port(). Quiet is not an outcome of a read: it simply stays pending.
class Port {
 public:
  using OnRead = std::function<void(Arrival, std::span<const std::byte>)>;
  using OnWritten = std::function<void(bool sound)>;

  virtual ~Port() = default;
  /// Reads for ever: calls `handler` for every chunk (valid during the call) and once with kGone. Call once.
  virtual void start_reading(OnRead handler) = 0;
  /// Writes all of `bytes` after what was asked before; then calls `handler`. Not called once close() has been.
  virtual void write(std::vector<std::byte> bytes, OnWritten handler) = 0;
  /// No handler runs after this.
  virtual void close() = 0;
};

struct PortSettings {
  std::uint32_t baud = 2'000'000;  // serial ports only
};

/// Opens `name`: "/dev/pts/N" and "tcp:HOST:PORT" through Asio, any other "/dev/..." through libserialport (8N1, no
/// flow control, exclusive). kName, kNotThere, kBusy, kPermission, kIo.
std::expected<std::unique_ptr<Port>, LinkError> open_port(boost::asio::io_context& context, const std::string& name,
                                                          const PortSettings& settings);

}  // namespace host::link
