// SPDX-License-Identifier: Apache-2.0
#include "host/decode/session_index.h"

#include <algorithm>
#include <optional>
#include <vector>

#include "host/decode/decoder.h"
#include "host/decode/frame_splitter.h"
#include "host/record/reader.h"

namespace host::decode {
namespace {

using record::IndexCell;
using record::RecordError;
using record::RecordFault;

/// Sums up what it is told, second by second.
class IndexSink : public Sink {
 public:
  IndexSink(const Decoder*& decoder, std::uint64_t scan_rate_hz) : decoder_(decoder), scan_rate_hz_(scan_rate_hz) {}

  std::uint64_t frame_offset = 0;  // of the frame being decoded

  void windows(const WindowBatch& batch) override {
    for (std::uint32_t w = 0; w < batch.window_count; ++w) {
      IndexCell* into = cell_at(batch.first_scan + std::uint64_t{w} * batch.scans_per_window);
      if (into == nullptr) return;
      const double before = into->scans_seen;
      const double scans = batch.scans_per_window;
      for (std::size_t channel = 0; channel < wire::kChannelCount; ++channel) {
        const wire::DecodedColumns& from = batch.windows->channels[channel];
        record::IndexChannel& to = into->channels[channel];
        to.min = std::min(to.min, from.min[w]);
        to.max = std::max(to.max, from.max[w]);
        to.mean_8 = static_cast<std::int32_t>((to.mean_8 * before + from.mean_8[w] * scans) / (before + scans));
      }
      into->scans_seen += batch.scans_per_window;
    }
  }

  void gap(const ScanGap& gap) override {
    const std::uint64_t first = cells_.empty() ? gap.from_scan / scan_rate_hz_ : first_second_;
    if (gap.to_scan / scan_rate_hz_ - first >= record::SideIndex::kCellsMost) too_long_ = true;
    for (std::uint64_t from = gap.from_scan; from < gap.to_scan && !too_long_;) {
      const std::uint64_t end = std::min(gap.to_scan, (from / scan_rate_hz_ + 1) * scan_rate_hz_);
      if (IndexCell* into = cell_at(from)) into->scans_missing += static_cast<std::uint32_t>(end - from);
      from = end;
    }
  }

  void event(const steadyrail::proto::Event&) override {
    if (!cells_.empty()) ++cells_.back().events;
  }
  void capture(const CaptureBatch& batch) override {
    if (!cells_.empty() && batch.remaining == 0) ++cells_.back().captures;
  }

  bool too_long() const { return too_long_; }
  std::uint64_t first_second() const { return first_second_; }
  std::vector<IndexCell> take() { return std::move(cells_); }

 private:
  /// nullptr: the recording is too long for an index.
  IndexCell* cell_at(std::uint64_t scan) {
    const std::uint64_t second = scan / scan_rate_hz_;
    if (cells_.empty()) first_second_ = second;
    if (second - first_second_ >= record::SideIndex::kCellsMost) too_long_ = true;
    if (too_long_) return nullptr;
    while (cells_.size() <= second - first_second_) {
      IndexCell& cell = cells_.emplace_back();
      cell.offset = frame_offset;
      cell.scan_offset = decoder_->scan_offset();
    }
    return &cells_[second - first_second_];
  }

  const Decoder*& decoder_;
  std::uint64_t scan_rate_hz_;
  std::uint64_t first_second_ = 0;
  std::vector<IndexCell> cells_;
  bool too_long_ = false;
};

/// Passes on what lies in a stretch of the session.
class StretchSink : public Sink {
 public:
  StretchSink(Sink& sink, std::uint64_t from_scan, std::uint64_t to_scan)
      : sink_(sink), from_scan_(from_scan), to_scan_(to_scan) {}

  void header(const steadyrail::proto::RecordingHeader& header) override { sink_.header(header); }
  void windows(const WindowBatch& batch) override {
    if (batch.first_scan >= to_scan_) past_ = true;
    if (batch.end_scan() > from_scan_ && !past_) sink_.windows(batch);
  }
  void gap(const ScanGap& gap) override {
    if (gap.from_scan < to_scan_ && gap.to_scan > from_scan_) sink_.gap(gap);
  }
  void capture(const CaptureBatch& batch) override {
    if (!past_) sink_.capture(batch);
  }
  void event(const steadyrail::proto::Event& event) override {
    if (!past_) sink_.event(event);
  }
  void note(const steadyrail::proto::HostNote& note) override {
    if (!past_) sink_.note(note);
  }

  bool past() const { return past_; }

 private:
  Sink& sink_;
  std::uint64_t from_scan_;
  std::uint64_t to_scan_;
  bool past_ = false;
};

std::uint64_t scan_rate_of(const steadyrail::proto::RecordingHeader& header) {
  constexpr std::uint64_t kDefaultHz = 32'000;
  return header.jig().scan_rate_hz() == 0 ? kDefaultHz : header.jig().scan_rate_hz();
}

}  // namespace

std::expected<record::SideIndex, RecordError> build_index(const std::string& recording, const Progress& progress) {
  const auto mark = record::mark_of(recording);
  if (!mark) return std::unexpected(mark.error());
  auto reader = record::Reader::open(recording);
  if (!reader) return std::unexpected(reader.error());
  const Decoder* telling = nullptr;
  IndexSink sink(telling, scan_rate_of(reader->header()));
  Decoder decoder(sink);
  telling = &decoder;
  FrameSplitter splitter;
  const auto skip = [&](std::uint64_t bytes) { sink.frame_offset += bytes; };
  for (;;) {  // ends with the file
    const auto chunk = reader->next();
    if (!chunk) return std::unexpected(chunk.error());
    if (chunk->empty()) break;
    splitter.feed(
        *chunk,
        [&](std::span<const std::byte> frame) {
          decoder.feed(frame);
          skip(frame.size());
        },
        skip);
    if (progress && !progress(reader->offset(), reader->bytes())) break;
  }
  decoder.finish();
  if (sink.too_long()) {
    return std::unexpected(RecordError{RecordFault::kTooLarge, recording + ": too long for an index"});
  }
  return record::SideIndex(*mark, sink.first_second(), sink.take());
}

std::expected<record::SideIndex, RecordError> index_of(const std::string& recording, const Progress& progress) {
  const auto mark = record::mark_of(recording);
  if (!mark) return std::unexpected(mark.error());
  const std::string path = record::SideIndex::path_of(recording);
  if (auto kept = record::SideIndex::load(path, *mark)) return kept;
  auto made = build_index(recording, progress);
  if (made) {
    [[maybe_unused]] const auto saved = made->save(path);
  }
  return made;
}

std::expected<void, RecordError> review_stretch(const std::string& recording, const record::SideIndex& index,
                                                std::uint64_t from_second, std::uint64_t to_second, Sink& sink) {
  auto reader = record::Reader::open(recording);
  if (!reader) return std::unexpected(reader.error());
  const std::uint64_t rate = scan_rate_of(reader->header());
  constexpr std::uint64_t kSecondsMost = std::uint64_t{1} << 40;
  StretchSink stretch(sink, std::min(from_second, kSecondsMost) * rate, std::min(to_second, kSecondsMost) * rate);
  Decoder decoder(stretch);
  const auto seconds = index.level(0);
  const std::uint64_t first = index.first_second();
  if (from_second < to_second && to_second > first && from_second < first + seconds.size()) {
    // A window that begins in the second before may reach into this one.
    const std::uint64_t from_cell = from_second <= first ? 0 : from_second - first - (from_second > first ? 1 : 0);
    decoder.resume(reader->header(), seconds[from_cell].scan_offset);
    reader->seek(seconds[from_cell].offset);
    while (!stretch.past()) {
      const auto chunk = reader->next();
      if (!chunk) return std::unexpected(chunk.error());
      if (chunk->empty()) break;
      decoder.feed(*chunk);
    }
  } else {
    decoder.resume(reader->header(), 0);
  }
  sink.finish();
  return {};
}

}  // namespace host::decode
