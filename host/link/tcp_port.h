// SPDX-License-Identifier: Apache-2.0
// A jig behind a network port: "HOST:PORT".
#pragma once

#include <expected>
#include <memory>
#include <string>

#include "host/link/port.h"

namespace host::link {

/// kName: no port number; kNotThere: unknown host, refused, or no answer within five seconds.
std::expected<std::unique_ptr<Port>, LinkError> open_tcp(boost::asio::io_context& context, const std::string& address);

}  // namespace host::link
