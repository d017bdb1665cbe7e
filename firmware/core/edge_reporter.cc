// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/edge_reporter.h"

namespace firmware {

void EdgeReporter::on_block(const ScanBlock& block, bool running) {
  for (std::uint32_t k = 0; k < block.edge_count; ++k) {
    const LineEdge& edge = block.edges[k];
    if (edge.line == steadyrail_proto_Line_LINE_UNKNOWN || edge.line > steadyrail_proto_Line_LINE_MARKER) continue;
    const std::uint32_t bit = std::uint32_t{1} << (edge.line - 1);
    health_.lines = edge.high ? health_.lines | bit : health_.lines & ~bit;
    if (!running) continue;
    tell(edge);
    capture(edge);
  }
}

void EdgeReporter::tell(const LineEdge& edge) {
  if (!limit_.take(edge.scan)) {
    count_up(health_.events_dropped);
    return;
  }
  steadyrail_proto_Event event{};
  event.which_kind = steadyrail_proto_Event_edge_tag;
  event.kind.edge = {.line = static_cast<steadyrail_proto_Line>(edge.line),
                     .high = edge.high,
                     .scan = edge.scan,
                     .offset_256 = edge.offset_256,
                     .pulse_ns = edge.pulse_ns,
                     .gate = 0,
                     .untold = 0};
  telemetry_.event(event);
}

void EdgeReporter::capture(const LineEdge& edge) {
  if (edge.line == steadyrail_proto_Line_LINE_MARKER) return;
  captures_.trigger(
      {.cause = CaptureCause::kEdge, .scan = edge.scan, .channel = store_.identity().line_channels[edge.line]});
}

}  // namespace firmware
