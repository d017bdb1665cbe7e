// SPDX-License-Identifier: Apache-2.0
#include "tests/unit/host/link/fake_serial_fixture.h"

#include <cerrno>
#include <cstdarg>
#include <cstdio>
#include <cstring>
#include <fstream>
#include <mutex>
#include <optional>
#include <string_view>

#include <dirent.h>
#include <dlfcn.h>
#include <fcntl.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <unistd.h>

namespace {

constexpr std::string_view kSys = "/sys/class/tty";
constexpr std::string_view kDevice = "/dev/ttyJIG";

struct Place {
  std::string terminal;
  int error = 0;
};

// The one thing the replaced functions of the C library can reach: they have no object of ours.
struct Machine {
  std::mutex mutex;
  std::string sys;  // empty: no fake ports
  std::map<std::string, Place> devices;
};
Machine& machine() {
  static Machine the_machine;
  return the_machine;
}

/// Where `path` leads to; errno set and nullopt: the device is not there, or fails to open.
std::optional<std::string> redirected(const char* path, bool opening) {
  const std::string_view asked(path);
  if (!asked.starts_with(kSys) && !asked.starts_with(kDevice)) return std::string(asked);
  Machine& here = machine();
  const std::lock_guard lock(here.mutex);
  if (here.sys.empty()) return std::string(asked);
  if (asked.starts_with(kSys)) return here.sys + std::string(asked.substr(kSys.size()));
  const auto found = here.devices.find(std::string(asked));
  if (found == here.devices.end()) {
    errno = ENOENT;
    return std::nullopt;
  }
  if (found->second.error != 0) {
    if (!opening) return "/dev/null";
    errno = found->second.error;
    return std::nullopt;
  }
  return found->second.terminal;
}

template <typename Function>
Function next_one(const char* name) {
  return reinterpret_cast<Function>(::dlsym(RTLD_NEXT, name));
}

}  // namespace

extern "C" {

int open(const char* path, int flags, ...) {
  static const auto next = next_one<int (*)(const char*, int, ...)>("open");
  va_list rest;
  va_start(rest, flags);
  const mode_t mode = (flags & O_CREAT) != 0 ? va_arg(rest, mode_t) : 0;
  va_end(rest);
  const auto place = redirected(path, true);
  return place ? next(place->c_str(), flags, mode) : -1;
}

// What a fortified library calls where it opens without O_CREAT.
int __open_2(const char* path, int flags) {
  static const auto next = next_one<int (*)(const char*, int)>("__open_2");
  const auto place = redirected(path, true);
  return place ? next(place->c_str(), flags) : -1;
}

FILE* fopen(const char* path, const char* mode) {
  static const auto next = next_one<FILE* (*)(const char*, const char*)>("fopen");
  const auto place = redirected(path, true);
  return place ? next(place->c_str(), mode) : nullptr;
}

DIR* opendir(const char* path) {
  static const auto next = next_one<DIR* (*)(const char*)>("opendir");
  const auto place = redirected(path, false);
  return place ? next(place->c_str()) : nullptr;
}

ssize_t readlink(const char* path, char* into, size_t bytes) noexcept {
  static const auto next = next_one<ssize_t (*)(const char*, char*, size_t)>("readlink");
  const auto place = redirected(path, false);
  return place ? next(place->c_str(), into, bytes) : -1;
}

int __lxstat(int version, const char* path, struct stat* into) noexcept {
  static const auto next = next_one<int (*)(int, const char*, struct stat*)>("__lxstat");
  const auto place = redirected(path, false);
  return place ? next(version, place->c_str(), into) : -1;
}

int access(const char* path, int mode) noexcept {
  static const auto next = next_one<int (*)(const char*, int)>("access");
  const auto place = redirected(path, false);
  return place ? next(place->c_str(), mode) : -1;
}

int ioctl(int file, unsigned long request, ...) noexcept {
  static const auto next = next_one<int (*)(int, unsigned long, ...)>("ioctl");
  va_list rest;
  va_start(rest, request);
  void* argument = va_arg(rest, void*);
  va_end(rest);
  switch (request) {
    case TIOCMGET:
      *static_cast<int*>(argument) = TIOCM_CTS | TIOCM_DSR;
      return 0;
    case TIOCMSET:
    case TIOCMBIS:
    case TIOCMBIC:
      return 0;
    default:
      return next(file, request, argument);
  }
}

}  // extern "C"

namespace host::link {

FakePorts::FakePorts() : root_(std::filesystem::temp_directory_path() / ("fake_ports_" + std::to_string(::getpid()))) {
  std::filesystem::remove_all(root_);
  std::filesystem::create_directories(root_ / "class/tty");
  const std::lock_guard lock(machine().mutex);
  machine().sys = root_ / "class/tty";
}

FakePorts::~FakePorts() {
  {
    const std::lock_guard lock(machine().mutex);
    machine().sys.clear();
    machine().devices.clear();
  }
  std::filesystem::remove_all(root_);
}

// As the kernel lays it out: the port hangs in an interface of a USB device, whose folder names bus, ids and serial.
void FakePorts::describe(const std::string& name, const Usb& usb) {
  const std::string device = "devices/usb1/1-" + std::to_string(bus_address_);
  const std::string interface = device + "/if0/" + name;
  std::filesystem::create_directories(root_ / interface / "tty" / name);
  std::filesystem::create_symlink("../../../" + name, root_ / interface / "tty" / name / "device");
  const auto file = [&](const char* field, const std::string& text) {
    std::ofstream(root_ / device / field) << text << '\n';
  };
  file("busnum", "1");
  file("devnum", std::to_string(bus_address_));
  file("idVendor", usb.vendor);
  file("idProduct", usb.product);
  file("product", "bridge of a test");
  file("serial", usb.serial);
  std::filesystem::create_symlink("../../" + interface + "/tty/" + name, root_ / "class/tty" / name);
  ++bus_address_;
}

void FakePorts::plug(const std::string& name, const std::string& terminal, const Usb& usb) {
  const std::lock_guard lock(machine().mutex);
  describe(name, usb);
  machine().devices["/dev/" + name] = {terminal, 0};
}

void FakePorts::plug_failing(const std::string& name, int error, const Usb& usb) {
  const std::lock_guard lock(machine().mutex);
  describe(name, usb);
  machine().devices["/dev/" + name] = {"", error};
}

void FakePorts::unplug(const std::string& name) {
  const std::lock_guard lock(machine().mutex);
  std::filesystem::remove(root_ / "class/tty" / name);
  machine().devices.erase("/dev/" + name);
}

}  // namespace host::link
