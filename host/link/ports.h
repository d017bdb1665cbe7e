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
  bool openable = false;  // by its permissions; whether another program has it shows only when it is opened
  std::string obstacle;   // why not, in words; empty when openable
};

/// All ports libserialport lists, by name. None is opened: opening a serial port moves its DTR line, which restarts
/// some devices, and not every device here is a jig.
std::vector<PortInfo> ports();

/// Names to try when the port `lost` has gone, best first: its own name, those of the same USB identity, the other USB
/// ports.
std::vector<std::string> candidates(const PortInfo& lost, const std::vector<PortInfo>& present);

}  // namespace host::link
