// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>

#include "host/app/verbs.h"
#include "host/link/ports.h"
#include "host/report/json.h"
#include "host/report/summary.h"

namespace host::app {
namespace {

using report::json_string;

std::string usb_text(const link::UsbIdentity& usb) {
  return fmt::format("{:04x}:{:04x}{}{}", usb.vendor, usb.product, usb.serial.empty() ? "" : " ", usb.serial);
}

std::string port_json(const link::PortInfo& port) {
  std::string usb = "null";
  if (port.usb) {
    usb = fmt::format("{{\"vendor\": {}, \"product\": {}, \"serial\": {}}}", port.usb->vendor, port.usb->product,
                      json_string(port.usb->serial));
  }
  return fmt::format("    {{\"name\": {}, \"description\": {}, \"usb\": {}, \"openable\": {}, \"obstacle\": {}}}",
                     json_string(port.name), json_string(port.description), usb, port.openable,
                     json_string(port.obstacle));
}

}  // namespace

int ports(const PortsOptions& options, Terminal& terminal) {
  const std::vector<link::PortInfo> found = link::ports();
  if (options.json) {
    std::string list;
    for (const link::PortInfo& port : found) list.append(list.empty() ? "\n" : ",\n").append(port_json(port));
    terminal.out() << "{\n  \"ports\": [" << list << (list.empty() ? "" : "\n  ") << "]\n}\n";
    return 0;
  }
  if (found.empty()) {
    terminal.out() << "No serial port is connected. 'steadyrail rehearse' needs none.\n";
    return 0;
  }
  std::vector<std::vector<std::string>> rows;
  rows.reserve(found.size());
  for (const link::PortInfo& port : found) {
    rows.push_back(
        {port.name, port.openable ? "opens" : port.obstacle, port.usb ? usb_text(*port.usb) : "", port.description});
  }
  terminal.out() << report::text_table({"port", "state", "USB", "description"}, rows);
  return 0;
}

}  // namespace host::app
