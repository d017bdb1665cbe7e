// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/envelope.h"

#include <pb_encode.h>

#include <cstring>

namespace firmware {
namespace {

constexpr std::byte kBodyTag{15 << 3 | 2};  // field 15, length-delimited

std::size_t encode(const pb_msgdesc_t* fields, const void* message, std::span<std::byte> out) {
  pb_ostream_t stream = pb_ostream_from_buffer(reinterpret_cast<pb_byte_t*>(out.data()), out.size());
  // It cannot fail: every caller gives the size nanopb computed for the largest message.
  return pb_encode(&stream, fields, message) ? stream.bytes_written : 0;
}

}  // namespace

std::size_t encode_content(steadyrail_proto_JigToHost& message, std::span<std::byte> out) {
  message.sequence = 0;  // proto3 leaves zeros out
  message.boot = 0;
  return encode(steadyrail_proto_JigToHost_fields, &message, out);
}

std::size_t close_body(std::span<std::byte> payload, std::size_t at, std::size_t body_bytes) {
  std::size_t end = at;
  payload[end++] = kBodyTag;
  if (body_bytes < 128) {
    payload[end++] = static_cast<std::byte>(body_bytes);
    std::memmove(&payload[end], &payload[at + kBodyHeadBytes], body_bytes);
  } else {
    payload[end++] = static_cast<std::byte>(body_bytes & 0x7F) | std::byte{0x80};
    payload[end++] = static_cast<std::byte>(body_bytes >> 7);
  }
  return end + body_bytes;
}

}  // namespace firmware
