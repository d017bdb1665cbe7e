// SPDX-License-Identifier: Apache-2.0
// Serial ports that are none, for libserialport to list, open and configure.
//
// This program defines open, __open_2, fopen, opendir, readlink, __lxstat, access and ioctl itself, and the dynamic
// linker gives them to libserialport before the C library's. While a FakePorts lives, /sys/class/tty is a folder it
// made, /dev/ttyJIG* are pseudo-terminals, and the modem-line requests that pseudo-terminals refuse are answered.
#pragma once

#include <filesystem>
#include <map>
#include <string>

namespace host::link {

/// Speed a terminal is set to, as a number: what the C library's own calls cannot tell.
unsigned line_speed_baud(int terminal);

class FakePorts {
 public:
  struct Usb {
    std::string vendor = "10c4";
    std::string product = "ea60";
    std::string serial = "0001";
  };

  FakePorts();
  ~FakePorts();
  FakePorts(const FakePorts&) = delete;
  FakePorts& operator=(const FakePorts&) = delete;

  /// Plugs a port in: "/dev/" + `name` opens `terminal`. `name` must begin with ttyJIG.
  void plug(const std::string& name, const std::string& terminal, const Usb& usb);
  /// The same, but opening it fails with this errno.
  void plug_failing(const std::string& name, int error, const Usb& usb);
  void unplug(const std::string& name);

 private:
  void describe(const std::string& name, const Usb& usb);

  std::filesystem::path root_;
  int bus_address_ = 1;
};

}  // namespace host::link
