// SPDX-License-Identifier: Apache-2.0
// A disk in memory that is full at times.
#pragma once

#include <cerrno>
#include <cstdint>
#include <memory>
#include <mutex>
#include <string>
#include <vector>

#include "host/record/output.h"
#include "tests/simulation/jig_frames.h"

namespace testing_jig {

/// Shared with the test, which reads the file and moves the limit; the writer's thread uses it at the same time.
struct Disk {
  std::mutex mutex;
  Bytes file;
  std::uint64_t file_bytes_max = UINT64_MAX;
  int fault = 0;  // errno of every append; 0: none
  std::uint64_t syncs = 0;
  bool removed = false;

  Bytes content() {
    const std::lock_guard lock(mutex);
    return file;
  }
  void allow(std::uint64_t bytes) {
    const std::lock_guard lock(mutex);
    file_bytes_max = bytes;
  }
};

std::unique_ptr<host::record::Output> output_on(std::shared_ptr<Disk> disk);

}  // namespace testing_jig
