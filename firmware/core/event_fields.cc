// SPDX-License-Identifier: Apache-2.0
// Events field by field, by the tags nanopb takes from the schema; a test compares every kind with nanopb's own bytes.
#include <array>

#include "firmware/core/envelope.h"
#include "firmware/core/field_writer.h"

namespace firmware {
namespace {

void put_fields(FieldWriter& out, const steadyrail_proto_Excursion& event) {
  out.put(steadyrail_proto_Excursion_channel_tag, event.channel);
  out.put(steadyrail_proto_Excursion_side_tag, event.side);
  out.put(steadyrail_proto_Excursion_armed_set_tag, event.armed_set);
  out.put(steadyrail_proto_Excursion_start_scan_tag, event.start_scan);
  out.put(steadyrail_proto_Excursion_end_scan_tag, event.end_scan);
  out.put_signed(steadyrail_proto_Excursion_extreme_code_tag, event.extreme_code);
  out.put(steadyrail_proto_Excursion_extreme_scan_tag, event.extreme_scan);
  out.put(steadyrail_proto_Excursion_area_code_scans_tag, event.area_code_scans);
  out.put(steadyrail_proto_Excursion_truncated_tag, event.truncated ? 1 : 0);
}

void put_fields(FieldWriter& out, const steadyrail_proto_LoadStep& event) {
  out.put(steadyrail_proto_LoadStep_channel_tag, event.channel);
  out.put(steadyrail_proto_LoadStep_scan_tag, event.scan);
  out.put_signed(steadyrail_proto_LoadStep_step_code_16_tag, event.step_code_16);
  out.put(steadyrail_proto_LoadStep_t50_offset_256_tag, event.t50_offset_256);
  out.put(steadyrail_proto_LoadStep_from_gate_tag, event.from_gate ? 1 : 0);
  out.put(steadyrail_proto_LoadStep_step_id_tag, event.step_id);
}

void put_fields(FieldWriter& out, const steadyrail_proto_SettledMeans& event) {
  out.put(steadyrail_proto_SettledMeans_step_id_tag, event.step_id);
  out.put(steadyrail_proto_SettledMeans_before_scan_tag, event.before_scan);
  out.put(steadyrail_proto_SettledMeans_after_scan_tag, event.after_scan);
  out.put_packed(steadyrail_proto_SettledMeans_before_code_8_tag, {event.before_code_8, event.before_code_8_count});
  out.put_packed(steadyrail_proto_SettledMeans_after_code_8_tag, {event.after_code_8, event.after_code_8_count});
}

void put_fields(FieldWriter& out, const steadyrail_proto_Edge& event) {
  out.put(steadyrail_proto_Edge_line_tag, event.line);
  out.put(steadyrail_proto_Edge_high_tag, event.high ? 1 : 0);
  out.put(steadyrail_proto_Edge_scan_tag, event.scan);
  out.put(steadyrail_proto_Edge_offset_256_tag, event.offset_256);
  out.put(steadyrail_proto_Edge_pulse_ns_tag, event.pulse_ns);
  out.put(steadyrail_proto_Edge_gate_tag, event.gate);
  out.put(steadyrail_proto_Edge_untold_tag, event.untold);
}

void put_fields(FieldWriter& out, const steadyrail_proto_Crossing& event) {
  out.put(steadyrail_proto_Crossing_channel_tag, event.channel);
  out.put(steadyrail_proto_Crossing_threshold_tag, event.threshold);
  out.put(steadyrail_proto_Crossing_rising_tag, event.rising ? 1 : 0);
  out.put(steadyrail_proto_Crossing_scan_before_tag, event.scan_before);
  out.put_signed(steadyrail_proto_Crossing_code_before_tag, event.code_before);
  out.put_signed(steadyrail_proto_Crossing_code_after_tag, event.code_after);
}

void put_fields(FieldWriter& out, const steadyrail_proto_Storm& event) {
  out.put(steadyrail_proto_Storm_channel_tag, event.channel);
  out.put(steadyrail_proto_Storm_side_tag, event.side);
  out.put(steadyrail_proto_Storm_excursions_tag, event.excursions);
  out.put(steadyrail_proto_Storm_first_scan_tag, event.first_scan);
  out.put(steadyrail_proto_Storm_last_scan_tag, event.last_scan);
  out.put_signed(steadyrail_proto_Storm_extreme_code_tag, event.extreme_code);
  out.put(steadyrail_proto_Storm_scans_beyond_tag, event.scans_beyond);
}

void put_fields(FieldWriter& out, const steadyrail_proto_StepSample& event) {
  out.put(steadyrail_proto_StepSample_first_scan_tag, event.first_scan);
  out.put(steadyrail_proto_StepSample_end_scan_tag, event.end_scan);
  out.put(steadyrail_proto_StepSample_seen_tag, event.seen);
  out.put(steadyrail_proto_StepSample_drawn_tag, event.drawn);
  out.put(steadyrail_proto_StepSample_kept_tag, event.kept);
}

void put_kind(FieldWriter& out, const steadyrail_proto_Event& event) {
  switch (event.which_kind) {
    case steadyrail_proto_Event_excursion_tag:
      return put_fields(out, event.kind.excursion);
    case steadyrail_proto_Event_load_step_tag:
      return put_fields(out, event.kind.load_step);
    case steadyrail_proto_Event_settled_tag:
      return put_fields(out, event.kind.settled);
    case steadyrail_proto_Event_edge_tag:
      return put_fields(out, event.kind.edge);
    case steadyrail_proto_Event_crossing_tag:
      return put_fields(out, event.kind.crossing);
    case steadyrail_proto_Event_storm_tag:
      return put_fields(out, event.kind.storm);
    case steadyrail_proto_Event_step_sample_tag:
      return put_fields(out, event.kind.step_sample);
    default:
      return;
  }
}

std::size_t head_bytes(std::size_t length) {
  return length > 0x7F ? 3 : 2;  // tag and a length of up to 16,383
}

}  // namespace

std::size_t encode_event(const steadyrail_proto_Event& event, std::span<std::byte> out) {
  std::array<std::byte, kEventContentBytesMax> fields;
  FieldWriter kind(fields);
  put_kind(kind, event);
  FieldWriter content(out);
  content.open(steadyrail_proto_JigToHost_event_tag, head_bytes(kind.bytes()) + kind.bytes());
  content.open(event.which_kind, kind.bytes());
  content.put_bytes(std::span(fields).first(kind.bytes()));
  return content.bytes();
}

std::size_t encode_prefix(std::uint32_t sequence, std::uint32_t boot, std::span<std::byte> out) {
  FieldWriter prefix(out);
  prefix.put(steadyrail_proto_JigToHost_sequence_tag, sequence);
  prefix.put(steadyrail_proto_JigToHost_boot_tag, boot);
  return prefix.bytes();
}

}  // namespace firmware
