// SPDX-License-Identifier: Apache-2.0
#include "host/record/output.h"

#include <cerrno>

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include "host/record/system_error.h"

namespace host::record {
namespace {

class FileOutput : public Output {
 public:
  FileOutput(int file, std::string path) : file_(file), path_(std::move(path)) {}
  ~FileOutput() override { ::close(file_); }
  FileOutput(const FileOutput&) = delete;
  FileOutput& operator=(const FileOutput&) = delete;

  std::expected<std::size_t, int> append(std::span<const std::byte> bytes) override {
    for (;;) {  // ends: a signal cannot interrupt every attempt for ever, and every other outcome returns
      const ssize_t taken = ::pwrite(file_, bytes.data(), bytes.size(), static_cast<off_t>(end_));
      if (taken >= 0) {
        end_ += static_cast<std::uint64_t>(taken);
        return static_cast<std::size_t>(taken);
      }
      if (errno == EINTR) continue;
      if (is_full(errno)) return 0;
      return std::unexpected(errno);
    }
  }

  bool room(std::size_t bytes) override {
    const int outcome = ::fallocate(file_, FALLOC_FL_KEEP_SIZE, static_cast<off_t>(end_), static_cast<off_t>(bytes));
    return outcome == 0 || !is_full(errno);  // a file system that cannot tell is given the chance
  }

  std::size_t tail(std::span<std::byte> into) override {
    const std::uint64_t bytes = std::min<std::uint64_t>(into.size(), end_);
    const ssize_t got = ::pread(file_, into.data(), bytes, static_cast<off_t>(end_ - bytes));
    return got == static_cast<ssize_t>(bytes) ? bytes : 0;
  }

  void cut(std::uint64_t bytes) override {
    // A cut that fails leaves bytes that later ones overwrite in place.
    if (::ftruncate(file_, static_cast<off_t>(bytes)) == 0 || bytes < end_) end_ = bytes;
  }

  void sync() override { ::fdatasync(file_); }
  void remove() override { ::unlink(path_.c_str()); }
  std::string name() const override { return path_; }

 private:
  int file_;
  std::string path_;
  std::uint64_t end_ = 0;
};

}  // namespace

std::expected<std::unique_ptr<Output>, RecordError> create_output(const std::string& path) {
  const int file = ::open(path.c_str(), O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0644);
  if (file < 0) return std::unexpected(system_error(errno, "create the recording", path));
  return std::make_unique<FileOutput>(file, path);
}

}  // namespace host::record
