// SPDX-License-Identifier: Apache-2.0
#include "host/record/writer.h"

#include <chrono>
#include <cstring>
#include <utility>

#include "host/record/note.h"
#include "host/record/system_error.h"
#include "host/record/version.h"

namespace host::record {
namespace {

using Clock = std::chrono::steady_clock;

constexpr std::size_t kWriteBytes = std::size_t{64} << 10;  // enough waiting bytes to write before the time is up
constexpr std::chrono::milliseconds kWriteEvery{200};
constexpr std::chrono::seconds kSyncEvery{1};

}  // namespace

std::expected<std::unique_ptr<Writer>, RecordError> Writer::create(const std::string& path,
                                                                   const steadyrail::proto::RecordingHeader& header) {
  auto output = create_output(path);
  if (!output) return std::unexpected(output.error());
  auto writer = create(std::move(*output), header);
  return writer;
}

std::expected<std::unique_ptr<Writer>, RecordError> Writer::create(std::unique_ptr<Output> output,
                                                                   const steadyrail::proto::RecordingHeader& header) {
  steadyrail::proto::HostNote note;
  *note.mutable_header() = header;
  note.mutable_header()->set_format_version(kFormatVersion);
  note.mutable_header()->set_host_version(kHostVersion);
  const auto frame = note_frame(note);
  if (!frame) {
    output->remove();
    return std::unexpected(RecordError{frame.error().fault, output->name() + ": " + frame.error().message});
  }
  std::unique_ptr<Writer> writer(new Writer(std::move(output), note.header()));
  writer->file_.note(*frame);
  if (writer->file_.full()) {
    const int number = writer->file_.error() == 0 ? ENOSPC : writer->file_.error();
    auto error = system_error(number, "write the recording's header", writer->file_.output().name());
    writer->file_.output().remove();
    return std::unexpected(std::move(error));
  }
  writer->bytes_written_ = writer->file_.bytes();
  writer->worker_ = std::thread([raw = writer.get()] { raw->work(); });
  return writer;
}

Writer::Writer(std::unique_ptr<Output> output, steadyrail::proto::RecordingHeader header)
    : header_(std::move(header)), file_(std::move(output)) {}

Writer::~Writer() {
  if (end_work()) file_.output().sync();
}

void Writer::append(std::span<const std::byte> bytes) {
  push(bytes, false);
}

void Writer::note(const steadyrail::proto::HostNote& note) {
  const auto frame = note_frame(note);
  if (frame) push(*frame, true);  // a mark's words are bounded by whoever takes them in
}

void Writer::push(std::span<const std::byte> bytes, bool is_note) {
  if (bytes.empty()) return;
  std::unique_lock lock(mutex_);
  changed_.wait(lock, [&] { return queued_bytes_ < kQueueBytesMax || ending_; });
  if (ending_) return;
  if (queue_.empty() || queue_.back().is_note != is_note || is_note) queue_.push_back({{}, is_note});
  auto& last = queue_.back().bytes;
  last.insert(last.end(), bytes.begin(), bytes.end());
  const bool was_little = queued_bytes_ < kWriteBytes;
  queued_bytes_ += bytes.size();
  if (was_little && queued_bytes_ >= kWriteBytes) changed_.notify_all();
}

void Writer::work() {
  auto synced = Clock::now();
  std::vector<Item> items;
  bool ending = false;
  while (!ending) {
    {
      std::unique_lock lock(mutex_);
      changed_.wait_for(lock, kWriteEvery, [&] { return queued_bytes_ >= kWriteBytes || ending_; });
      items.swap(queue_);
      queued_bytes_ = 0;
      ending = ending_;
      changed_.notify_all();
    }
    for (const Item& item : items) {
      item.is_note ? file_.note(item.bytes) : file_.wire(item.bytes);
    }
    items.clear();
    if (Clock::now() - synced >= kSyncEvery) {
      synced = Clock::now();
      file_.retry();
      file_.output().sync();
    }
    bytes_lost_ = file_.bytes_lost();
    bytes_written_ = file_.bytes();
  }
}

bool Writer::end_work() {
  if (!worker_.joinable()) return false;
  {
    const std::lock_guard lock(mutex_);
    ending_ = true;
  }
  changed_.notify_all();
  worker_.join();
  return true;
}

std::expected<Closed, RecordError> Writer::close(const std::string& reason, model::HostTime now) {
  end_work();
  file_.retry();
  steadyrail::proto::HostNote note;
  note.mutable_closing()->set_utc_us(static_cast<std::uint64_t>(now.since_epoch.count()));
  note.mutable_closing()->set_reason(reason);
  const bool whole = file_.close(note_frame(note).value());
  bytes_lost_ = file_.bytes_lost();
  bytes_written_ = file_.bytes();
  const std::string name = file_.output().name();
  if (file_.error() != 0) return std::unexpected(system_error(file_.error(), "write the recording", name));
  if (!whole || bytes_lost() != 0) {
    return std::unexpected(RecordError{
        RecordFault::kDiskFull, name + ": the disk was full: " + std::to_string(bytes_lost()) +
                                    " bytes of the session are missing from the recording; what stands is whole"});
  }
  return Closed{bytes_written(), bytes_lost()};
}

void Writer::discard() {
  end_work();
  file_.output().remove();
}

}  // namespace host::record
