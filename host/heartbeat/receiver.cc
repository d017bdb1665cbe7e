// SPDX-License-Identifier: Apache-2.0
#include "host/heartbeat/receiver.h"

#include <ifaddrs.h>
#include <net/if.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <mutex>
#include <thread>
#include <utility>

#include <fmt/format.h>
#include <boost/asio/ip/udp.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/steady_timer.hpp>

#include "host/heartbeat/beat_book.h"

namespace host::heartbeat {
namespace {

namespace ip = boost::asio::ip;

constexpr std::chrono::milliseconds kLookEvery{50};

Moment now() {
  const auto steady = std::chrono::steady_clock::now().time_since_epoch();
  const auto utc = std::chrono::system_clock::now().time_since_epoch();
  return {std::chrono::duration<double>(steady).count(),
          model::HostTime{std::chrono::duration_cast<std::chrono::microseconds>(utc)}};
}

std::vector<ip::address> interface_addresses() {
  std::vector<ip::address> out;
  ifaddrs* list = nullptr;
  if (getifaddrs(&list) != 0) return out;
  for (const ifaddrs* one = list; one != nullptr; one = one->ifa_next) {
    if (one->ifa_addr == nullptr || (one->ifa_flags & IFF_UP) == 0) continue;
    ip::udp::endpoint at;
    const bool v4 = one->ifa_addr->sa_family == AF_INET;
    if (!v4 && one->ifa_addr->sa_family != AF_INET6) continue;
    const std::size_t bytes = v4 ? sizeof(sockaddr_in) : sizeof(sockaddr_in6);
    at.resize(bytes);
    std::copy_n(reinterpret_cast<const char*>(one->ifa_addr), bytes, reinterpret_cast<char*>(at.data()));
    out.push_back(at.address());
  }
  freeifaddrs(list);
  return out;
}

bool is_here(const ip::address& address) {
  const bool mapped = address.is_v6() && address.to_v6().is_v4_mapped();
  const ip::address plain = mapped ? ip::make_address_v4(ip::v4_mapped, address.to_v6()) : address;
  if (plain.is_loopback()) return true;
  const auto own = interface_addresses();
  return std::ranges::find(own, plain) != own.end();
}

}  // namespace

struct Receiver::State {
  explicit State(BeatBook kept) : book(std::move(kept)) {}

  void receive();
  void look();

  boost::asio::io_context context;
  ip::udp::socket socket{context};
  boost::asio::steady_timer timer{context};
  std::array<char, kDatagramBytesMax + 1> datagram{};  // one more: what is longer shows
  ip::udp::endpoint from;
  ip::address asked_about;  // the last sender, and whether it is this computer
  bool answer = false;
  bool over = false;

  std::mutex mutex;
  BeatBook book;  // guarded by mutex
  std::thread thread;
};

void Receiver::State::receive() {
  socket.async_receive_from(boost::asio::buffer(datagram), from,
                            [this](const boost::system::error_code& fault, std::size_t bytes) {
                              if (over) return;
                              if (!fault) {
                                const Moment arrived = now();
                                if (from.address() != asked_about) {
                                  asked_about = from.address();
                                  answer = is_here(asked_about);
                                }
                                const std::lock_guard lock(mutex);
                                book.take(std::string_view(datagram.data(), bytes), arrived, answer);
                              }
                              receive();
                            });
}

void Receiver::State::look() {
  timer.expires_after(kLookEvery);
  timer.async_wait([this](const boost::system::error_code&) {
    if (over) return;
    {
      const std::lock_guard lock(mutex);
      book.look(now());
    }
    look();
  });
}

Receiver::Receiver(std::unique_ptr<State> state) : state_(std::move(state)) {}

std::expected<std::unique_ptr<Receiver>, std::string> Receiver::listen(const std::string& address, std::uint16_t port,
                                                                       std::string token) {
  boost::system::error_code fault;
  const auto wrong = [&](const std::string& why) {
    return std::unexpected(fmt::format("heartbeats on {} port {}: {}", address, port, why));
  };
  const ip::address at = ip::make_address(address, fault);
  if (fault) return wrong("no IP address of this computer");
  const ip::udp::endpoint endpoint(at, port);
  auto state = std::make_unique<State>(BeatBook(std::move(token)));
  state->socket.open(endpoint.protocol(), fault);
  if (!fault) state->socket.bind(endpoint, fault);
  if (fault) return wrong(fault.message());
  state->book.listen_at(fmt::format("{} port {}", address, state->socket.local_endpoint().port()));
  std::unique_ptr<Receiver> receiver(new Receiver(std::move(state)));
  State& running = *receiver->state_;
  running.receive();
  running.look();
  running.thread = std::thread([&running] { running.context.run(); });
  return receiver;
}

Receiver::~Receiver() {
  finish();
}

void Receiver::finish() {
  if (!state_->thread.joinable()) return;
  boost::asio::post(state_->context, [state = state_.get()] {
    state->over = true;
    state->context.stop();
  });
  state_->thread.join();
  const std::lock_guard lock(state_->mutex);
  state_->book.finish(now());
}

std::uint16_t Receiver::port() const {
  return state_->socket.local_endpoint().port();
}

std::vector<steadyrail::proto::HostNote> Receiver::take_notes() {
  const std::lock_guard lock(state_->mutex);
  return state_->book.take_notes();
}

std::vector<std::string> Receiver::take_words() {
  const std::lock_guard lock(state_->mutex);
  return state_->book.take_words();
}

std::vector<std::string> own_addresses() {
  std::vector<std::string> out;
  for (const ip::address& address : interface_addresses()) {
    const bool link_local = address.is_v6() && address.to_v6().is_link_local();
    if (!address.is_loopback() && !link_local) out.push_back(address.to_string());
  }
  return out;
}

}  // namespace host::heartbeat
