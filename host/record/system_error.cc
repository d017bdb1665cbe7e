// SPDX-License-Identifier: Apache-2.0
#include "host/record/system_error.h"

#include <cerrno>
#include <cstring>

namespace host::record {

bool is_full(int number) {
  return number == ENOSPC || number == EDQUOT || number == EFBIG;
}

RecordError system_error(int number, const std::string& doing, const std::string& path) {
  const auto told = [&](RecordFault fault, const std::string& why) {
    return RecordError{fault, path + ": cannot " + doing + ": " + why};
  };
  if (is_full(number)) return told(RecordFault::kDiskFull, "the disk is full");
  switch (number) {
    case EEXIST:
      return told(RecordFault::kExists, "it exists already, and a recording is never written over");
    case ENOENT:
    case ENOTDIR:
      return told(RecordFault::kNotThere, "no such file or folder");
    case EACCES:
    case EPERM:
    case EROFS:
      return told(RecordFault::kPermission, std::strerror(number));
    default:
      return told(RecordFault::kIo, std::strerror(number));
  }
}

}  // namespace host::record
