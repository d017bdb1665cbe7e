// SPDX-License-Identifier: Apache-2.0
// The file below a recording, as far as writing one needs it; tests put one in its place that fails on purpose.
#pragma once

#include <cstddef>
#include <cstdint>
#include <expected>
#include <memory>
#include <span>
#include <string>

#include "host/record/error.h"

namespace host::record {

class Output {
 public:
  virtual ~Output() = default;
  /// Appends what fits; returns the bytes taken (0: no room), or an errno that means something else than no room.
  virtual std::expected<std::size_t, int> append(std::span<const std::byte> bytes) = 0;
  /// Whether the file can grow by `bytes` more; where the system allows, they are claimed.
  virtual bool room(std::size_t bytes) = 0;
  /// Fills `into` with the last bytes of the file, as many as there are; returns how many.
  virtual std::size_t tail(std::span<std::byte> into) = 0;
  /// Cuts the file to its first `bytes`.
  virtual void cut(std::uint64_t bytes) = 0;
  /// Waits until all of it is on the disk.
  virtual void sync() = 0;
  virtual void remove() = 0;
  virtual std::string name() const = 0;
};

/// A new file; never one that exists. kExists, kNotThere, kPermission, kDiskFull, kIo.
std::expected<std::unique_ptr<Output>, RecordError> create_output(const std::string& path);

}  // namespace host::record
