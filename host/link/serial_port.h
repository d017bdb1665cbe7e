// SPDX-License-Identifier: Apache-2.0
// Terminals: real serial ports through libserialport, pseudo-terminals directly.
#pragma once

#include <expected>
#include <memory>
#include <string>

#include "host/link/port.h"

namespace host::link {

/// libserialport opens and configures, Asio waits on a duplicate of its handle. kNotThere, kBusy, kPermission, kName,
/// kIo.
std::expected<std::unique_ptr<Port>, LinkError> open_serial_port(boost::asio::io_context& context,
                                                                 const std::string& name, const PortSettings& settings);

/// libserialport refuses pseudo-terminals (no modem lines, nothing under /sys), so they are opened here. Same errors.
std::expected<std::unique_ptr<Port>, LinkError> open_pseudo_terminal(boost::asio::io_context& context,
                                                                     const std::string& name);

}  // namespace host::link
