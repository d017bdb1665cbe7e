// SPDX-License-Identifier: Apache-2.0
#include "proto/wire/cobs_writer.h"

#include <algorithm>
#include <cstring>

namespace wire {
namespace {

constexpr std::size_t kRunMax = 254;

}  // namespace

void CobsWriter::close_run() {
  out_[code_at_] = static_cast<std::byte>(run_ + 1);
  code_at_ += run_ + 1;
  run_ = 0;
}

void CobsWriter::append(std::span<const std::byte> part) {
  while (!part.empty()) {
    // A full run is closed only when another byte follows: that gives the shorter of the two readings.
    if (run_ == kRunMax) close_run();
    const std::size_t room = std::min(part.size(), kRunMax - run_);
    const void* zero = std::memchr(part.data(), 0, room);
    const std::size_t bytes =
        zero == nullptr ? room : static_cast<std::size_t>(static_cast<const std::byte*>(zero) - part.data());
    std::memmove(out_ + code_at_ + 1 + run_, part.data(), bytes);
    run_ += bytes;
    part = part.subspan(bytes);
    if (zero == nullptr) continue;
    close_run();
    part = part.subspan(1);
  }
}

std::size_t CobsWriter::finish() {
  close_run();
  return code_at_;
}

}  // namespace wire
