// SPDX-License-Identifier: Apache-2.0
#include "host/app/window_export.h"

#include <cerrno>
#include <cmath>
#include <cstring>

#include <fmt/format.h>

#include "host/report/csv.h"

namespace host::app {

std::expected<std::unique_ptr<WindowExport>, std::string> WindowExport::create(const std::string& path) {
  std::unique_ptr<WindowExport> out(new WindowExport(path));
  out->file_.open(path, std::ios::binary | std::ios::trunc);
  if (!out->file_) return std::unexpected(fmt::format("{}: {}", path, std::strerror(errno)));
  report::write_windows_header(out->file_);
  return out;
}

void WindowExport::header(const steadyrail::proto::RecordingHeader& header) {
  auto jig = model::Jig::from_description(header.jig(), "the recording's jig");
  if (jig) {
    jig_ = std::move(*jig);
  } else {
    fault_ = model::to_string(jig.error());
  }
}

void WindowExport::windows(const decode::WindowBatch& batch) {
  if (!jig_) return;
  const double rate = jig_->scan_rate_hz();
  const double length_s = batch.scans_per_window / rate;
  for (std::uint32_t window = 0; window < batch.window_count; ++window) {
    const std::uint64_t scan = batch.first_scan + std::uint64_t{window} * batch.scans_per_window;
    for (const model::JigChannel& channel : jig_->channels()) {
      const wire::DecodedColumns& columns = batch.windows->channels[channel.index];
      const double low = channel.value(columns.min[window]);
      const double high = channel.value(columns.max[window]);
      report::write_window(
          file_, {.channel = channel.name,
                  .amperes = channel.kind == steadyrail::proto::CHANNEL_KIND_CURRENT,
                  .start_s = static_cast<double>(scan) / rate,
                  .length_s = length_s,
                  // A negative scale turns lowest codes into highest values.
                  .min = std::min(low, high),
                  .mean = channel.value(columns.mean_8[window] / 8.0),
                  .max = std::max(low, high),
                  .rms = std::abs(channel.per_code) * std::sqrt(static_cast<double>(columns.variance[window])),
                  .scans_below = columns.below[window],
                  .scans_above = columns.above[window]});
    }
  }
}

std::expected<void, std::string> WindowExport::close() {
  file_.close();
  if (!fault_.empty()) return std::unexpected(fault_);
  if (!file_) return std::unexpected(fmt::format("{}: could not be written to its end", path_));
  return {};
}

void Tee::header(const steadyrail::proto::RecordingHeader& header) {
  for (decode::Sink* sink : sinks_) sink->header(header);
}
void Tee::hello(const steadyrail::proto::Hello& hello) {
  for (decode::Sink* sink : sinks_) sink->hello(hello);
}
void Tee::windows(const decode::WindowBatch& batch) {
  for (decode::Sink* sink : sinks_) sink->windows(batch);
}
void Tee::capture(const decode::CaptureBatch& batch) {
  for (decode::Sink* sink : sinks_) sink->capture(batch);
}
void Tee::event(const steadyrail::proto::Event& event) {
  for (decode::Sink* sink : sinks_) sink->event(event);
}
void Tee::status(const steadyrail::proto::Status& status) {
  for (decode::Sink* sink : sinks_) sink->status(status);
}
void Tee::log(const steadyrail::proto::Log& log) {
  for (decode::Sink* sink : sinks_) sink->log(log);
}
void Tee::gap(const decode::ScanGap& gap) {
  for (decode::Sink* sink : sinks_) sink->gap(gap);
}
void Tee::restarted(std::uint32_t boot) {
  for (decode::Sink* sink : sinks_) sink->restarted(boot);
}
void Tee::note(const steadyrail::proto::HostNote& note) {
  for (decode::Sink* sink : sinks_) sink->note(note);
}
void Tee::finish() {
  for (decode::Sink* sink : sinks_) sink->finish();
}

}  // namespace host::app
