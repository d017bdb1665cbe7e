// SPDX-License-Identifier: Apache-2.0
// Makes and uses the side index of a recording (host/record/side_index.h).
#pragma once

#include <expected>
#include <string>

#include "host/decode/review_file.h"
#include "host/decode/sink.h"
#include "host/record/error.h"
#include "host/record/side_index.h"

namespace host::decode {

/// Reads the whole recording. kTooLarge: more than SideIndex::kCellsMost seconds. Errors of record::Reader.
std::expected<record::SideIndex, record::RecordError> build_index(const std::string& recording,
                                                                  const Progress& progress = {});

/// The index beside the recording, or one made anew and left there. That it cannot be left there (a read-only medium, a
/// full disk) is no error: it is made again next time.
std::expected<record::SideIndex, record::RecordError> index_of(const std::string& recording,
                                                               const Progress& progress = {});

/// Gives `sink` the header and what the seconds [from_second, to_second) of the session hold, without reading what lies
/// before: windows, gaps, events, captures and notes between, finish() at the end. A stretch outside the recording is
/// empty.
std::expected<void, record::RecordError> review_stretch(const std::string& recording, const record::SideIndex& index,
                                                        std::uint64_t from_second, std::uint64_t to_second, Sink& sink);

}  // namespace host::decode
