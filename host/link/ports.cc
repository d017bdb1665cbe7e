// SPDX-License-Identifier: Apache-2.0
#include "host/link/ports.h"

#include <algorithm>
#include <cerrno>
#include <cstring>

#include <libserialport.h>
#include <unistd.h>

namespace host::link {
namespace {

std::string text(const char* words) {
  return words == nullptr ? std::string() : std::string(words);
}

PortInfo describe(const sp_port* port) {
  PortInfo info;
  info.name = text(sp_get_port_name(port));
  info.description = text(sp_get_port_description(port));
  if (sp_get_port_transport(port) == SP_TRANSPORT_USB) {
    UsbIdentity usb;
    if (sp_get_port_usb_vid_pid(port, &usb.vendor, &usb.product) == SP_OK) {
      usb.serial = text(sp_get_port_usb_serial(port));
      info.usb = usb;
    }
  }
  info.openable = ::access(info.name.c_str(), R_OK | W_OK) == 0;
  if (!info.openable) {
    info.obstacle = errno == EACCES ? "no permission: on Debian, members of the group dialout may open serial ports"
                                    : std::strerror(errno);
  }
  return info;
}

}  // namespace

std::vector<PortInfo> ports() {
  std::vector<PortInfo> found;
  sp_port** list = nullptr;
  if (sp_list_ports(&list) != SP_OK) return found;
  for (sp_port** port = list; *port != nullptr; ++port) found.push_back(describe(*port));
  sp_free_port_list(list);
  std::sort(found.begin(), found.end(), [](const PortInfo& a, const PortInfo& b) { return a.name < b.name; });
  return found;
}

std::vector<std::string> candidates(const PortInfo& lost, const std::vector<PortInfo>& present) {
  std::vector<std::string> names{lost.name};
  const auto add = [&](const PortInfo& port) {
    if (std::find(names.begin(), names.end(), port.name) == names.end()) names.push_back(port.name);
  };
  for (const PortInfo& port : present) {
    if (lost.usb && port.usb == lost.usb) add(port);
  }
  for (const PortInfo& port : present) {
    if (port.usb && port.openable) add(port);
  }
  return names;
}

}  // namespace host::link
