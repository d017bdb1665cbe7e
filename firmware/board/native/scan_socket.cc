// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/native/scan_socket.h"

#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>

#include "firmware/board/native/waiting.h"

namespace firmware {

ScanStream ScanSocket::broken(const std::string& why) {
  error_ = why;
  return ScanStream::kBroken;
}

ScanStream ScanSocket::read_exactly(void* into, std::size_t bytes, bool at_border) {
  auto* at = static_cast<std::byte*>(into);
  std::size_t got = 0;
  while (got < bytes) {
    const bool waiting_for_block = at_border && got == 0;
    const ssize_t count = recv(fd_, at + got, bytes - got, MSG_DONTWAIT);
    if (count > 0) {
      got += static_cast<std::size_t>(count);
      continue;
    }
    if (count == 0 || errno == ECONNRESET) {
      return waiting_for_block ? ScanStream::kEnded : broken("the scan stream ended inside a block");
    }
    if (errno == EINTR) continue;
    if (errno != EAGAIN) return broken(std::string("the scan stream cannot be read: ") + std::strerror(errno));
    const Waited waited = wait_for(fd_, POLLIN, waiting_for_block ? -1 : kPatienceMs);
    if (waited == Waited::kStopped) return ScanStream::kStopped;
    if (waited == Waited::kTimeout) return broken("the scan stream stands still inside a block");
  }
  return ScanStream::kBlock;
}

ScanStream ScanSocket::receive() {
  ScanStream state = read_exactly(&header_, sizeof header_, true);
  if (state != ScanStream::kBlock) return state;
  if (header_.magic != wire::kScanBlockMagic) return broken("the scan stream is not one: wrong mark before a block");
  if (header_.edge_count > wire::kScanEdgesMax) return broken("the scan stream announces too many edges in a block");
  if (header_.first_scan != next_scan_ + header_.scans_lost) {
    return broken("the scan stream jumps from scan " + std::to_string(next_scan_) + " to " +
                  std::to_string(header_.first_scan));
  }
  state = read_exactly(&block_.codes, sizeof block_.codes, false);
  if (state != ScanStream::kBlock) return state;
  state = read_edges();
  if (state != ScanStream::kBlock) return state;
  block_.first_scan = header_.first_scan;
  block_.scans_lost = header_.scans_lost;
  next_scan_ = header_.first_scan + wire::kScansPerBlock;
  fresh_ = true;
  return ScanStream::kBlock;
}

ScanStream ScanSocket::read_edges() {
  std::array<wire::ScanEdge, wire::kScanEdgesMax> edges;
  block_.edge_count = header_.edge_count;
  if (header_.edge_count == 0) return ScanStream::kBlock;
  const ScanStream state = read_exactly(edges.data(), header_.edge_count * sizeof(wire::ScanEdge), false);
  if (state != ScanStream::kBlock) return state;
  for (std::size_t i = 0; i < header_.edge_count; ++i) {
    const wire::ScanEdge& edge = edges[i];
    if (edge.offset >= wire::kScansPerBlock || edge.offset_256 > 255) {
      return broken("the scan stream has an edge outside its block");
    }
    block_.edges[i] = {.line = edge.line,
                       .high = edge.high != 0,
                       .offset_256 = static_cast<std::uint8_t>(edge.offset_256),
                       .scan = header_.first_scan + edge.offset,
                       .pulse_ns = edge.pulse_ns};
  }
  return ScanStream::kBlock;
}

const ScanBlock* ScanSocket::take_block() {
  if (!fresh_) return nullptr;
  fresh_ = false;
  return &block_;
}

bool ScanSocket::queue_edge(const GateEdge& edge) {
  if (outputs_.edge_count == wire::kScanGateEdgesMax) return false;
  outputs_.edges[outputs_.edge_count++] = {.offset = static_cast<std::uint16_t>(edge.scan - next_scan_),
                                           .offset_256 = edge.offset_256,
                                           .gates = static_cast<std::uint8_t>(edge.gates)};
  return true;
}

void ScanSocket::switch_off() {
  outputs_.gates = 0;
  outputs_.edge_count = 0;
}

bool ScanSocket::send_outputs() {
  outputs_.from_scan = next_scan_;
  const auto* at = reinterpret_cast<const std::byte*>(&outputs_);
  std::size_t sent = 0;
  while (sent < sizeof outputs_) {
    const ssize_t count = send(fd_, at + sent, sizeof outputs_ - sent, MSG_NOSIGNAL | MSG_DONTWAIT);
    if (count > 0) {
      sent += static_cast<std::size_t>(count);
    } else if (count < 0 && errno == EAGAIN) {
      if (wait_for(fd_, POLLOUT, kPatienceMs) != Waited::kReady) return false;
    } else if (count == 0 || errno != EINTR) {
      return false;
    }
  }
  if (outputs_.edge_count != 0) outputs_.gates = outputs_.edges[outputs_.edge_count - 1].gates;
  outputs_.edge_count = 0;
  return true;
}

}  // namespace firmware
