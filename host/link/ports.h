// SPDX-License-Identifier: Apache-2.0
// The serial ports of this machine.
#pragma once

#include <optional>
#include <string>
#include <vector>

namespace host::link {

struct UsbIdentity {
  int vendor = 0;
  int product = 0;
  std::string serial;  // empty: the bridge has none
  bool operator==(const UsbIdentity&) const = default;
};

struct PortInfo {
  std::string name;  // as open_port() takes it
  std::string description;
  std::optional<UsbIdentity> usb;
  bool openable = false;
  std::string obstacle;  // why not, in words; empty when openable
};

/// All ports libserialport lists, by name; whether each opens is found by opening it without touching its settings.
std::vector<PortInfo> ports();
/// The same without opening any.
std::vector<PortInfo> port_names();

}  // namespace host::link
