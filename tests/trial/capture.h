// SPDX-License-Identifier: Apache-2.0
// Codes scan by scan where somebody asks: captures round some load steps and excursions, settled means.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <span>
#include <vector>

#include "host/decode/sink.h"
#include "host/simulate/random.h"
#include "tests/trial/noise.h"
#include "tests/trial/wave.h"

namespace trial {

class Capturer {
 public:
  Capturer(const Wave& wave, const Noise& noise, std::uint64_t seed, double steps_per_s);

  /// Codes of 32 scans from `from` on, a multiple of 32; valid until the next call.
  std::span<const std::int16_t> codes(Scan from, std::size_t channel);
  /// Mean of 32 scans from `from` on, anywhere, 1/8 code.
  std::int32_t mean_8(Scan from, std::size_t channel);

  /// A step happened: a seeded sample of them is captured.
  void step(Scan at);
  /// An excursion did: captured at most once a second.
  void excursion(Scan at);
  /// Sends what is complete at `now`.
  void tell(Scan now, host::decode::Sink& sink);

 private:
  struct Due {
    Scan trigger;
    steadyrail::proto::CaptureCause cause;
  };
  void send(const Due& due, host::decode::Sink& sink);

  const Wave& wave_;
  const Noise& noise_;
  host::simulate::Random random_;
  Scan pause_;
  Scan step_from_ = 0;
  Scan excursion_from_ = 0;
  std::uint32_t captures_ = 0;
  std::deque<Due> due_;
  std::array<std::int16_t, Responses::kWindow> codes_{};
};

}  // namespace trial
