// SPDX-License-Identifier: Apache-2.0
// What can go wrong between host and jig, in words for the user.
#pragma once

#include <cstdint>
#include <string>

namespace host::link {

enum class LinkFault : std::uint8_t {
  kName,      // not a port name of a known form
  kNotThere,  // no such port, or nobody listens
  kBusy,      // another program has it
  kPermission,
  kNotAJig,   // something answers, or nothing: no sound hello in time
  kOtherJig,  // a jig, but not the one asked for
  kVersion,   // a protocol without common ground
  kRefused,   // the jig refuses a command
  kSilent,    // the jig no longer acknowledges
  kGone,      // the port vanished and did not come back
  kStopped,   // asked to stop before the jig had begun to measure
  kIo,        // anything else the system reports
};

struct LinkError {
  LinkFault fault = LinkFault::kIo;
  std::string message;  // names the port
};

}  // namespace host::link
