// SPDX-License-Identifier: Apache-2.0
#include "tests/simulation/fault_output.h"

#include <algorithm>

namespace testing_jig {
namespace {

class DiskOutput : public host::record::Output {
 public:
  explicit DiskOutput(std::shared_ptr<Disk> disk) : disk_(std::move(disk)) {}

  std::expected<std::size_t, int> append(std::span<const std::byte> bytes) override {
    const std::lock_guard lock(disk_->mutex);
    if (disk_->fault != 0) return std::unexpected(disk_->fault);
    const std::uint64_t room =
        disk_->file_bytes_max - std::min<std::uint64_t>(disk_->file_bytes_max, disk_->file.size());
    const std::size_t taken = std::min<std::uint64_t>(room, bytes.size());
    disk_->file.insert(disk_->file.end(), bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(taken));
    return taken;
  }

  bool room(std::size_t bytes) override {
    const std::lock_guard lock(disk_->mutex);
    return disk_->fault == 0 && disk_->file_bytes_max >= disk_->file.size() &&
           disk_->file_bytes_max - disk_->file.size() >= bytes;
  }

  std::size_t tail(std::span<std::byte> into) override {
    const std::lock_guard lock(disk_->mutex);
    const std::size_t bytes = std::min(into.size(), disk_->file.size());
    std::copy(disk_->file.end() - static_cast<std::ptrdiff_t>(bytes), disk_->file.end(), into.begin());
    return bytes;
  }

  void cut(std::uint64_t bytes) override {
    const std::lock_guard lock(disk_->mutex);
    if (bytes < disk_->file.size()) disk_->file.resize(bytes);
  }

  void sync() override {
    const std::lock_guard lock(disk_->mutex);
    ++disk_->syncs;
  }

  void remove() override {
    const std::lock_guard lock(disk_->mutex);
    disk_->removed = true;
  }

  std::string name() const override { return "disk"; }

 private:
  std::shared_ptr<Disk> disk_;
};

}  // namespace

std::unique_ptr<host::record::Output> output_on(std::shared_ptr<Disk> disk) {
  return std::make_unique<DiskOutput>(std::move(disk));
}

}  // namespace testing_jig
