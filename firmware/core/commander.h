// SPDX-License-Identifier: Apache-2.0
// Does what the host commands, once: a repeated id is answered again and not done again.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

#include "firmware/core/acquisition.h"
#include "firmware/core/load_sequencer.h"
#include "firmware/core/outputs.h"
#include "firmware/core/settings.h"
#include "firmware/core/supervisor.h"
#include "firmware/core/telemetry.h"
#include "link.npb.h"

namespace firmware {

inline constexpr std::size_t kCommandsRemembered = 8;

/// Codes of Log frames.
inline constexpr std::uint32_t kLogCommandUndecodable = 1;  // value: its bytes

class Commander {
 public:
  Commander(NonVolatileStore& store, Health& health, Outputs& outputs, LoadSequencer& sequencer,
            Acquisition& acquisition, Supervisor& supervisor, Telemetry& telemetry);

  /// Handles the payload of one sound frame from the host.
  void handle(std::span<const std::byte> payload);

 private:
  struct Remembered {
    std::uint32_t id = 0;        // 0: empty
    std::uint32_t checksum = 0;  // of the payload: a new host may count its ids from 1 again
    steadyrail_proto_Acknowledgement answer{};
  };

  bool answer_again(std::uint32_t id, std::uint32_t checksum);
  Refused run(const steadyrail_proto_HostToJig& message);
  Refused configure(const steadyrail_proto_Configure& message);
  Refused arm(const steadyrail_proto_Arm& message);
  Refused start();
  Refused stop();
  Refused describe_load_bank(const steadyrail_proto_DescribeLoadBank& message);
  Refused load_steps(const steadyrail_proto_LoadSteps& message);
  Refused drive_ps_on(bool on);
  Refused join_source(const steadyrail_proto_JoinSource& message);
  Refused stream_raw(std::uint32_t channel_mask);
  Refused keep_identity(const steadyrail_proto_StoreIdentity& message);
  Refused keep_calibration(const steadyrail_proto_StoreCalibration& message);
  Refused may_drive() const;
  Refused may_store() const;

  NonVolatileStore& store_;
  Health& health_;
  Outputs& outputs_;
  LoadSequencer& sequencer_;
  Acquisition& acquisition_;
  Supervisor& supervisor_;
  Telemetry& telemetry_;

  bool configured_ = false;
  Settings settings_{};
  ArmedSet armed_{};
  std::array<Remembered, kCommandsRemembered> remembered_{};
  std::size_t remember_at_ = 0;
  steadyrail_proto_HostToJig message_{};
};

}  // namespace firmware
