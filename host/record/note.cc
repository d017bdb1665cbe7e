// SPDX-License-Identifier: Apache-2.0
#include "host/record/note.h"

#include <string>

#include <google/protobuf/io/coded_stream.h>
#include <google/protobuf/io/zero_copy_stream_impl_lite.h>

#include "proto/wire/frame.h"

namespace host::record {

std::expected<std::vector<std::byte>, RecordError> note_frame(const steadyrail::proto::HostNote& note) {
  steadyrail::proto::RecordedNote recorded;
  *recorded.mutable_note() = note;
  std::string payload;
  {
    google::protobuf::io::StringOutputStream text(&payload);
    google::protobuf::io::CodedOutputStream out(&text);
    out.SetSerializationDeterministic(true);
    recorded.SerializeToCodedStream(&out);
  }
  if (payload.size() > wire::kPayloadBytesMax) {
    return std::unexpected(RecordError{RecordFault::kTooLarge, "a note of " + std::to_string(payload.size()) +
                                                                   " bytes does not fit a recording; the most is " +
                                                                   std::to_string(wire::kPayloadBytesMax)});
  }
  std::vector<std::byte> frame(wire::cobs_bytes_max(payload.size() + wire::kCrcBytes) + 1);
  frame.resize(wire::encode_frame(std::as_bytes(std::span(payload)), frame));
  return frame;
}

}  // namespace host::record
