// SPDX-License-Identifier: Apache-2.0
#include "firmware/core/commander.h"

#include <pb_decode.h>

#include "proto/wire/crc32c.h"

namespace firmware {
namespace {

constexpr Refused kDone{};
constexpr std::uint32_t kSourceLevelMost = 7;

constexpr Refused refuse(steadyrail_proto_Refusal refusal, std::uint32_t field = 0) {
  return {refusal, field};
}

Refused refusal_of(Stored stored, std::uint32_t content_field) {
  switch (stored) {
    case Stored::kDone:
      return kDone;
    case Stored::kEraseNeeded:
      return refuse(steadyrail_proto_Refusal_REFUSAL_ERASE_NEEDED);
    case Stored::kTooLong:
      return refuse(steadyrail_proto_Refusal_REFUSAL_OUT_OF_RANGE, content_field);
    case Stored::kFailed:
      break;
  }
  return refuse(steadyrail_proto_Refusal_REFUSAL_STORE_FAILED);
}

}  // namespace

Commander::Commander(NonVolatileStore& store, Health& health, Outputs& outputs, LoadSequencer& sequencer,
                     Acquisition& acquisition, Supervisor& supervisor, Telemetry& telemetry)
    : store_(store),
      health_(health),
      outputs_(outputs),
      sequencer_(sequencer),
      acquisition_(acquisition),
      supervisor_(supervisor),
      telemetry_(telemetry) {}

void Commander::handle(std::span<const std::byte> payload) {
  message_ = steadyrail_proto_HostToJig{};
  pb_istream_t stream = pb_istream_from_buffer(reinterpret_cast<const pb_byte_t*>(payload.data()), payload.size());
  const bool decoded = pb_decode_ex(&stream, steadyrail_proto_HostToJig_fields, &message_, PB_DECODE_NOINIT);
  if (message_.id == 0) {  // there is nothing to answer to
    telemetry_.log(kLogCommandUndecodable, static_cast<std::int32_t>(payload.size()));
    return;
  }
  supervisor_.heard();
  const std::uint32_t checksum = wire::crc32c(payload);
  if (decoded && message_.which_command == steadyrail_proto_HostToJig_identify_tag) {
    remembered_ = {};  // a host that asks who is there begins a new conversation
  } else if (answer_again(message_.id, checksum)) {
    return;
  }
  // More entries than the chip holds end the decoding early.
  const Refused refused = decoded ? run(message_) : refuse(steadyrail_proto_Refusal_REFUSAL_OUT_OF_RANGE);
  const steadyrail_proto_Acknowledgement answer{
      .id = message_.id, .refusal = refused.refusal, .field = refused.field, .scan = health_.next_scan};
  remembered_[remember_at_] = {message_.id, checksum, answer};
  remember_at_ = (remember_at_ + 1) % kCommandsRemembered;
  telemetry_.acknowledge(answer);
}

bool Commander::answer_again(std::uint32_t id, std::uint32_t checksum) {
  for (const Remembered& remembered : remembered_) {
    if (remembered.id != id || remembered.checksum != checksum) continue;
    telemetry_.acknowledge(remembered.answer);
    return true;
  }
  return false;
}

Refused Commander::run(const steadyrail_proto_HostToJig& message) {
  switch (message.which_command) {
    case steadyrail_proto_HostToJig_identify_tag:
      telemetry_.say_hello();
      return kDone;
    case steadyrail_proto_HostToJig_configure_tag:
      return configure(message.command.configure);
    case steadyrail_proto_HostToJig_arm_tag:
      return arm(message.command.arm);
    case steadyrail_proto_HostToJig_start_tag:
      return start();
    case steadyrail_proto_HostToJig_stop_tag:
      return stop();
    case steadyrail_proto_HostToJig_describe_load_bank_tag:
      return describe_load_bank(message.command.describe_load_bank);
    case steadyrail_proto_HostToJig_load_steps_tag:
      return load_steps(message.command.load_steps);
    case steadyrail_proto_HostToJig_drive_ps_on_tag:
      return drive_ps_on(message.command.drive_ps_on.on);
    case steadyrail_proto_HostToJig_keep_alive_tag:
      return kDone;
    case steadyrail_proto_HostToJig_stream_raw_tag:
      return stream_raw(message.command.stream_raw.channel_mask);
    case steadyrail_proto_HostToJig_store_identity_tag:
      return keep_identity(message.command.store_identity);
    case steadyrail_proto_HostToJig_store_calibration_tag:
      return keep_calibration(message.command.store_calibration);
    case steadyrail_proto_HostToJig_read_calibration_tag:
      telemetry_.say_calibration();
      return kDone;
    case steadyrail_proto_HostToJig_join_source_tag:
      return join_source(message.command.join_source);
    default:
      return refuse(steadyrail_proto_Refusal_REFUSAL_UNKNOWN_COMMAND);
  }
}

Refused Commander::configure(const steadyrail_proto_Configure& message) {
  if (health_.running) return refuse(steadyrail_proto_Refusal_REFUSAL_RUNNING);
  const auto settings = settings_from(message);
  if (!settings) return settings.error();
  settings_ = *settings;
  configured_ = true;
  telemetry_.set_line(settings_.line_bytes_per_s);
  supervisor_.configure(settings_);
  return kDone;
}

Refused Commander::arm(const steadyrail_proto_Arm& message) {
  if (health_.running) return refuse(steadyrail_proto_Refusal_REFUSAL_RUNNING);
  if (!configured_) return refuse(steadyrail_proto_Refusal_REFUSAL_NOT_CONFIGURED);
  const auto armed = armed_set_from(message, armed_);
  if (!armed) return armed.error();
  supervisor_.acknowledge_cause();
  return kDone;
}

Refused Commander::start() {
  if (health_.running) return refuse(steadyrail_proto_Refusal_REFUSAL_RUNNING);
  if (!configured_) return refuse(steadyrail_proto_Refusal_REFUSAL_NOT_CONFIGURED);
  health_.running = true;
  acquisition_.begin(settings_, armed_);
  telemetry_.mark_time();
  telemetry_.say_status();
  return kDone;
}

Refused Commander::stop() {
  const bool running = health_.running;
  supervisor_.stop_run();
  return running ? kDone : refuse(steadyrail_proto_Refusal_REFUSAL_NOT_RUNNING);
}

Refused Commander::may_drive() const {
  if (health_.mode != Mode::kBench) return refuse(steadyrail_proto_Refusal_REFUSAL_WRONG_MODE);
  if (health_.safety_cause != SafetyCause::kNone) return refuse(steadyrail_proto_Refusal_REFUSAL_SAFETY);
  if (!configured_) return refuse(steadyrail_proto_Refusal_REFUSAL_NOT_CONFIGURED);
  return kDone;
}

// Limits that change under what plays would not have been looked at.
Refused Commander::describe_load_bank(const steadyrail_proto_DescribeLoadBank& message) {
  if (health_.mode != Mode::kBench) return refuse(steadyrail_proto_Refusal_REFUSAL_WRONG_MODE);
  if (outputs_.any_on() || sequencer_.playing()) return refuse(steadyrail_proto_Refusal_REFUSAL_OUTPUTS_ON);
  const auto bank = load_bank_from(message);
  if (!bank) return bank.error();
  sequencer_.describe(*bank);
  return kDone;
}

Refused Commander::load_steps(const steadyrail_proto_LoadSteps& message) {
  const Refused barred = may_drive();
  if (barred.refusal != steadyrail_proto_Refusal_REFUSAL_NONE) return barred;
  outputs_.join_source({});
  if (message.steps_count == 0) {
    sequencer_.cancel();
    outputs_.gates_off();
    return kDone;
  }
  std::array<LoadStep, kLoadStepsMax> steps;
  for (pb_size_t i = 0; i < message.steps_count; ++i) {
    const steadyrail_proto_LoadStepCommand& step = message.steps[i];
    if (step.gate >= kGateCount) {
      return refuse(steadyrail_proto_Refusal_REFUSAL_OUT_OF_RANGE, steadyrail_proto_LoadSteps_steps_tag);
    }
    steps[i] = {static_cast<std::uint8_t>(step.gate), step.on, step.after_us};
  }
  return sequencer_.play({steps.data(), message.steps_count}, message.repeat == 0 ? 1 : message.repeat);
}

Refused Commander::drive_ps_on(bool on) {
  const Refused barred = may_drive();
  if (barred.refusal != steadyrail_proto_Refusal_REFUSAL_NONE) return barred;
  return outputs_.drive_ps_on(on) ? kDone : refuse(steadyrail_proto_Refusal_REFUSAL_SAFETY);
}

// A supply's rail must never meet the source: what the taps read is looked at before, and off is always allowed.
Refused Commander::join_source(const steadyrail_proto_JoinSource& message) {
  if (!outputs_.has_source()) return refuse(steadyrail_proto_Refusal_REFUSAL_UNKNOWN_COMMAND);
  if (!health_.running) return refuse(steadyrail_proto_Refusal_REFUSAL_NOT_RUNNING);
  if (message.level > kSourceLevelMost) {
    return refuse(steadyrail_proto_Refusal_REFUSAL_OUT_OF_RANGE, steadyrail_proto_JoinSource_level_tag);
  }
  if (message.outputs != 0) {
    if (health_.safety_cause != SafetyCause::kNone) return refuse(steadyrail_proto_Refusal_REFUSAL_SAFETY);
    if (outputs_.any_on() || sequencer_.playing()) return refuse(steadyrail_proto_Refusal_REFUSAL_OUTPUTS_ON);
    if (message.least_code_count != wire::kChannelCount || message.most_code_count != wire::kChannelCount) {
      return refuse(steadyrail_proto_Refusal_REFUSAL_OUT_OF_RANGE, steadyrail_proto_JoinSource_least_code_tag);
    }
    if (!acquisition_.within(message.least_code, message.most_code)) {
      return refuse(steadyrail_proto_Refusal_REFUSAL_TAP_LIVE);
    }
  }
  outputs_.join_source({message.outputs, static_cast<std::uint8_t>(message.level), message.weak});
  return kDone;
}

Refused Commander::stream_raw(std::uint32_t channel_mask) {
  if (channel_mask >> wire::kChannelCount != 0) {
    return refuse(steadyrail_proto_Refusal_REFUSAL_OUT_OF_RANGE, steadyrail_proto_StreamRaw_channel_mask_tag);
  }
  if (!health_.running) return refuse(steadyrail_proto_Refusal_REFUSAL_NOT_RUNNING);
  acquisition_.stream_raw(channel_mask);
  return kDone;
}

Refused Commander::may_store() const {
  if (health_.running) return refuse(steadyrail_proto_Refusal_REFUSAL_RUNNING);
  if (outputs_.any_on() || sequencer_.playing()) return refuse(steadyrail_proto_Refusal_REFUSAL_OUTPUTS_ON);
  return kDone;
}

Refused Commander::keep_identity(const steadyrail_proto_StoreIdentity& message) {
  const Refused barred = may_store();
  if (barred.refusal != steadyrail_proto_Refusal_REFUSAL_NONE) return barred;
  Identity identity;
  identity.jig_id = message.jig_id;
  if (identity.jig_id.empty()) {
    return refuse(steadyrail_proto_Refusal_REFUSAL_OUT_OF_RANGE, steadyrail_proto_StoreIdentity_jig_id_tag);
  }
  if (message.channel_names_count != wire::kChannelCount) {
    return refuse(steadyrail_proto_Refusal_REFUSAL_OUT_OF_RANGE, steadyrail_proto_StoreIdentity_channel_names_tag);
  }
  for (std::size_t c = 0; c < wire::kChannelCount; ++c) identity.channel_names[c] = message.channel_names[c];
  bool lines_sound = message.line_channels_count + 1U == identity.line_channels.size();
  for (pb_size_t k = 0; k < message.line_channels_count; ++k) {
    lines_sound = lines_sound && message.line_channels[k] < wire::kChannelCount;
    identity.line_channels[k + 1] = static_cast<std::uint8_t>(message.line_channels[k]);
  }
  if (!lines_sound) {
    return refuse(steadyrail_proto_Refusal_REFUSAL_OUT_OF_RANGE, steadyrail_proto_StoreIdentity_line_channels_tag);
  }
  const Stored stored = store_.store_identity(identity, message.may_erase);
  return refusal_of(stored, 0);
}

Refused Commander::keep_calibration(const steadyrail_proto_StoreCalibration& message) {
  const Refused barred = may_store();
  if (barred.refusal != steadyrail_proto_Refusal_REFUSAL_NONE) return barred;
  const std::span content(reinterpret_cast<const std::byte*>(message.content.bytes), message.content.size);
  const Stored stored = store_.store_calibration(message.calibration_id, content, message.may_erase);
  return refusal_of(stored, steadyrail_proto_StoreCalibration_content_tag);
}

}  // namespace firmware
