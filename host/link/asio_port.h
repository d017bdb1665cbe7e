// SPDX-License-Identifier: Apache-2.0
// Port over any Asio stream.
#pragma once

#include <deque>
#include <memory>
#include <span>
#include <utility>
#include <vector>

#include <boost/asio/buffer.hpp>
#include <boost/asio/error.hpp>
#include <boost/asio/write.hpp>

#include "host/link/port.h"

namespace host::link {

/// `Keep` is whatever must live as long as the stream does.
///
///   caller --write()--> queue --async_write--> stream --async_read_some--> handler
///
/// The core outlives the port while Asio still holds a handler of it; `closed` keeps such a handler from the caller.
template <typename Stream, typename Keep>
class AsioPort : public Port {
 public:
  AsioPort(Stream stream, Keep keep) : core_(std::make_shared<Core>(std::move(stream), std::move(keep))) {}
  ~AsioPort() override { AsioPort::close(); }
  AsioPort(const AsioPort&) = delete;
  AsioPort& operator=(const AsioPort&) = delete;

  void start_reading(OnRead handler) override {
    core_->on_read = std::move(handler);
    core_->read(core_);
  }

  void write(std::vector<std::byte> bytes, OnWritten handler) override {
    core_->waiting.emplace_back(std::move(bytes), std::move(handler));
    if (core_->waiting.size() == 1) core_->write(core_);
  }

  void close() override {
    core_->closed = true;
    boost::system::error_code ignored;
    core_->stream.close(ignored);
    core_->on_read = nullptr;
  }

 private:
  static constexpr std::size_t kReadBytes = std::size_t{64} << 10;

  struct Core {
    Core(Stream opened, Keep kept) : keep(std::move(kept)), stream(std::move(opened)), buffer(kReadBytes) {}

    void read(std::shared_ptr<Core> self) {
      stream.async_read_some(boost::asio::buffer(buffer),
                             [self = std::move(self)](const boost::system::error_code& error, std::size_t bytes) {
                               Core& core = *self;
                               if (core.closed) return;
                               if (error) {
                                 core.on_read(Arrival::kGone, {});
                                 return;
                               }
                               core.on_read(Arrival::kBytes, std::span<const std::byte>(core.buffer.data(), bytes));
                               if (!core.closed) core.read(self);
                             });
    }

    void write(std::shared_ptr<Core> self) {
      boost::asio::async_write(stream, boost::asio::buffer(waiting.front().first),
                               [self = std::move(self)](const boost::system::error_code& error, std::size_t) {
                                 Core& core = *self;
                                 if (core.closed) return;
                                 const OnWritten handler = std::move(core.waiting.front().second);
                                 core.waiting.pop_front();
                                 handler(!error);
                                 if (!core.closed && !core.waiting.empty()) core.write(self);
                               });
    }

    Keep keep;
    Stream stream;
    std::vector<std::byte> buffer;
    std::deque<std::pair<std::vector<std::byte>, OnWritten>> waiting;
    OnRead on_read;
    bool closed = false;
  };

  std::shared_ptr<Core> core_;
};

}  // namespace host::link
