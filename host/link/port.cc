// SPDX-License-Identifier: Apache-2.0
#include "host/link/port.h"

#include <filesystem>

#include "host/link/serial_port.h"
#include "host/link/tcp_port.h"

namespace host::link {

std::expected<std::unique_ptr<Port>, LinkError> open_port(boost::asio::io_context& context, const std::string& name,
                                                          const PortSettings& settings) {
  constexpr std::string_view kTcp = "tcp:";
  if (name.starts_with(kTcp)) return open_tcp(context, name.substr(kTcp.size()));
  // Names given by id are links to the port itself.
  std::error_code error;
  const auto canonical = std::filesystem::canonical(name, error);
  const std::string path = error ? name : canonical.string();
  if (path.starts_with("/dev/pts/")) return open_pseudo_terminal(context, path);
  if (path.starts_with("/dev/")) return open_serial_port(context, path, settings);
  return std::unexpected(
      LinkError{LinkFault::kName,
                name + ": not a port; write /dev/... or tcp:HOST:PORT; `steadyrail ports` lists what is there"});
}

}  // namespace host::link
