// SPDX-License-Identifier: Apache-2.0
#include "tests/trial/capture.h"

#include <algorithm>
#include <cmath>

namespace trial {
namespace {

namespace proto = steadyrail::proto;

constexpr Scan kWindow = static_cast<Scan>(Responses::kWindow);
constexpr Scan kBefore = 320;  // scans, as the chip does unless told otherwise
constexpr Scan kAfter = 640;

}  // namespace

Capturer::Capturer(const Wave& wave, const Noise& noise, std::uint64_t seed, double steps_per_s)
    : wave_(wave), noise_(noise), random_(seed, 25), pause_(steps_per_s > 0 ? scans_of(1 / steps_per_s) : 0) {}

std::span<const std::int16_t> Capturer::codes(Scan from, std::size_t channel) {
  std::array<float, Responses::kWindow> samples;
  wave_.samples(wave_.window(from), channel, samples.data());
  const float* noise = noise_.samples(channel, from);
  for (std::size_t n = 0; n < codes_.size(); ++n) {
    codes_[n] = static_cast<std::int16_t>(std::clamp(std::floor(samples[n] + noise[n] + 0.5F), -32768.0F, 32767.0F));
  }
  return codes_;
}

std::int32_t Capturer::mean_8(Scan from, std::size_t channel) {
  const Scan aligned = from / kWindow * kWindow;
  const Wave::Window first = wave_.window(aligned);
  const Wave::Window second = wave_.window(aligned + kWindow);
  const bool simulated = first.simulated || (from != aligned && second.simulated);
  const bool contact = wave_.contact_moves(first, channel) || wave_.contact_moves(second, channel);
  if (!simulated && !contact && (!wave_.is_mains(channel) || from == aligned)) {
    const double noise = static_cast<double>(noise_.table(channel).mean[noise_.window(channel, aligned)]);
    const double mean = wave_.bounds(from == aligned ? first : wave_.window(from), channel).mean;
    return static_cast<std::int32_t>(std::floor(8 * (mean + noise) + 0.5));
  }
  const auto into = static_cast<std::size_t>(from - aligned);
  float sum = 0;
  const auto add = [&](const Wave::Window& window, std::size_t begin, std::size_t end) {
    std::array<float, Responses::kWindow> samples;
    wave_.samples(window, channel, samples.data());
    const float* noise = noise_.samples(channel, window.from);
    for (std::size_t n = begin; n < end; ++n) sum += samples[n] + noise[n];
  };
  add(first, into, Responses::kWindow);
  if (into > 0) add(second, 0, into);
  return static_cast<std::int32_t>(std::floor(sum / 4 + 0.5F));
}

void Capturer::step(Scan at) {
  if (pause_ == 0 || at < step_from_) return;
  step_from_ = at + 1 + static_cast<Scan>(random_.uniform() * 2 * static_cast<double>(pause_));
  due_.push_back({at, proto::CAPTURE_CAUSE_LOAD_STEP});
}

void Capturer::excursion(Scan at) {
  if (at < excursion_from_) return;
  excursion_from_ = at + scans_of(1);
  due_.push_back({at, proto::CAPTURE_CAUSE_EXCURSION});
}

void Capturer::tell(Scan now, host::decode::Sink& sink) {
  while (!due_.empty() && due_.front().trigger + kAfter + kWindow <= now) {
    send(due_.front(), sink);
    due_.pop_front();
  }
}

void Capturer::send(const Due& due, host::decode::Sink& sink) {
  const Scan first = std::max<Scan>(0, (due.trigger - kBefore) / kWindow * kWindow);
  const Scan end = first + kBefore + kAfter;
  std::array<std::uint8_t, wire::kChannelCount> channels;
  for (std::size_t c = 0; c < channels.size(); ++c) channels[c] = static_cast<std::uint8_t>(c);
  std::array<std::array<std::int16_t, wire::kCaptureScansMax>, wire::kChannelCount> body;
  host::decode::CaptureBatch batch;
  batch.capture = ++captures_;
  batch.cause = due.cause;
  batch.trigger_scan = static_cast<std::uint64_t>(due.trigger);
  batch.scan_count = wire::kCaptureScansMax;
  batch.channels = channels;
  batch.codes = body;
  for (Scan from = first; from < end; from += kWindow) {
    for (std::size_t c = 0; c < channels.size(); ++c) std::ranges::copy(codes(from, c), body[c].begin());
    batch.first_scan = static_cast<std::uint64_t>(from);
    batch.remaining = static_cast<std::uint32_t>((end - from) / kWindow - 1);
    sink.capture(batch);
  }
}

}  // namespace trial
