// SPDX-License-Identifier: Apache-2.0
#include "host/heartbeat/sender.h"

#include <algorithm>
#include <condition_variable>
#include <mutex>

#include <fmt/format.h>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/udp.hpp>

#include "host/heartbeat/beat.h"

namespace host::heartbeat {
namespace {

namespace ip = boost::asio::ip;
using Clock = std::chrono::steady_clock;

constexpr int kFarewells = 3;  // any of them may be lost

class Line {
 public:
  Line(ip::udp::socket& socket, const ip::udp::endpoint& to, const SenderOptions& options)
      : socket_(socket), to_(to), run_(random_word()), options_(options) {}

  void send(bool farewell) {
    ++number_;
    const auto count = std::chrono::duration_cast<std::chrono::milliseconds>(Clock::now() - began_).count();
    const std::string text = to_text({.token = options_.token,
                                      .run = run_,
                                      .number = number_,
                                      .sender_ms = static_cast<std::uint64_t>(count),
                                      .period = options_.period,
                                      .farewell = farewell});
    boost::system::error_code fault;
    socket_.send_to(boost::asio::buffer(text), to_, 0, fault);
    ++(fault ? sent_.failed : sent_.beats);
  }
  const Sent& sent() const { return sent_; }

 private:
  ip::udp::socket& socket_;
  ip::udp::endpoint to_;
  std::string run_;
  const SenderOptions& options_;
  Clock::time_point began_ = Clock::now();
  std::uint64_t number_ = 0;
  Sent sent_;
};

}  // namespace

std::expected<Sent, std::string> send_beats(const SenderOptions& options,
                                            const std::function<void(const Sent&)>& progress) {
  boost::asio::io_context context;
  boost::system::error_code fault;
  ip::udp::resolver resolver(context);
  const auto found = resolver.resolve(options.host, std::to_string(options.port), fault);
  if (fault || found.empty()) return std::unexpected(fmt::format("{}: {}", options.host, fault.message()));
  const ip::udp::endpoint to = found.begin()->endpoint();
  ip::udp::socket socket(context);
  socket.open(to.protocol(), fault);
  if (fault) return std::unexpected(fmt::format("{}: {}", options.host, fault.message()));
  Line line(socket, to, options);
  std::mutex mutex;
  std::condition_variable_any wake;
  const auto begun = Clock::now();
  const auto end = options.duration ? begun + *options.duration : Clock::time_point::max();
  std::unique_lock lock(mutex);
  for (auto next = begun; next < end && !options.stop.stop_requested();) {
    line.send(false);
    progress(line.sent());
    next += options.period;
    // After a sleep of the whole PC the beats go on from now: a burst would tell of a PC that ran.
    if (next + options.period < Clock::now()) next = Clock::now();
    wake.wait_until(lock, options.stop, std::min(next, end), [] { return false; });
  }
  for (int i = 0; i < kFarewells; ++i) line.send(true);
  return line.sent();
}

}  // namespace host::heartbeat
