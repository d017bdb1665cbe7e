// SPDX-License-Identifier: Apache-2.0
#include "host/decode/review_file.h"

#include "host/decode/decoder.h"
#include "host/record/reader.h"

namespace host::decode {

std::expected<steadyrail::proto::SessionResult, record::RecordError> review_file(const std::string& path, Sink& sink,
                                                                                 const Progress& progress) {
  constexpr std::uint64_t kProgressBytes = std::uint64_t{4} << 20;
  auto reader = record::Reader::open(path);
  if (!reader) return std::unexpected(reader.error());
  Decoder decoder(sink);
  std::uint64_t told = 0;
  for (;;) {  // ends with the file
    const auto chunk = reader->next();
    if (!chunk) return std::unexpected(chunk.error());
    if (chunk->empty()) break;
    decoder.feed(*chunk);
    if (progress && reader->offset() - told >= kProgressBytes) {
      told = reader->offset();
      if (!progress(told, reader->bytes())) break;
    }
  }
  decoder.finish();
  steadyrail::proto::SessionResult result;
  decoder.describe(result);
  result.mutable_session()->set_recording(path);
  return result;
}

}  // namespace host::decode
