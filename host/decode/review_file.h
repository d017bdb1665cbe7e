// SPDX-License-Identifier: Apache-2.0
// A recording read back from disk through the same decoder as a live session.
#pragma once

#include <cstdint>
#include <expected>
#include <functional>
#include <string>

#include "host/decode/sink.h"
#include "host/record/error.h"
#include "result.pb.h"

namespace host::decode {

/// Called about once in 4 MiB with bytes done and bytes in all; false stops the reading.
using Progress = std::function<bool(std::uint64_t bytes_done, std::uint64_t bytes)>;

/// Feeds the whole of `path` to `sink`, finish() included, and returns what the decoder found: `simulated`, `session`
/// (but no hashes), `coverage` and `remarks` of a SessionResult. Errors: those of record::Reader; kIo while reading.
std::expected<steadyrail::proto::SessionResult, record::RecordError> review_file(const std::string& path, Sink& sink,
                                                                                 const Progress& progress = {});

}  // namespace host::decode
