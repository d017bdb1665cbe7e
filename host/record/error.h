// SPDX-License-Identifier: Apache-2.0
// What can go wrong with a recording's file, in words for the user.
#pragma once

#include <cstdint>
#include <string>

namespace host::record {

enum class RecordFault : std::uint8_t {
  kExists,    // a recording is never written over
  kNotThere,  // no such file or folder
  kPermission,
  kDiskFull,
  kForeign,  // not a recording
  kEmpty,
  kVersion,   // a format this program does not know
  kTooLarge,  // a note or header above wire::kPayloadBytesMax
  kIo,        // anything else the system reports
};

struct RecordError {
  RecordFault fault = RecordFault::kIo;
  std::string message;  // names the file
};

}  // namespace host::record
