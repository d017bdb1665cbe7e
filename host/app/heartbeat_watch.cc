// SPDX-License-Identifier: Apache-2.0
#include "host/app/heartbeat_watch.h"

#include <charconv>
#include <cstdint>

#include <fmt/format.h>

#include "host/heartbeat/beat.h"

namespace host::app {
namespace {

constexpr const char* kEverywhere = "0.0.0.0";
constexpr std::size_t kAddressesTold = 3;

}  // namespace

std::expected<std::unique_ptr<HeartbeatWatch>, std::string> HeartbeatWatch::start(const std::string& where,
                                                                                  const std::string& token) {
  const std::size_t at = where.find('@');
  const std::string digits = where.substr(0, at);
  std::uint16_t port = 0;
  const auto [end, fault] = std::from_chars(digits.data(), digits.data() + digits.size(), port);
  if (fault != std::errc{} || end != digits.data() + digits.size()) {
    return std::unexpected(
        fmt::format("--heartbeat {}: a port from 0 (any free one) to 65535, or PORT@ADDRESS", where));
  }
  if (!token.empty() && !heartbeat::is_token(token)) {
    return std::unexpected("--heartbeat-token: 4 to 32 letters, digits and hyphens");
  }
  std::unique_ptr<HeartbeatWatch> watch(new HeartbeatWatch);
  watch->address_ = at == std::string::npos ? kEverywhere : where.substr(at + 1);
  watch->token_ = token.empty() ? heartbeat::random_word() : token;
  auto receiver = heartbeat::Receiver::listen(watch->address_, port, watch->token_);
  if (!receiver) return std::unexpected(receiver.error());
  watch->receiver_ = std::move(*receiver);
  return watch;
}

std::string HeartbeatWatch::instruction() const {
  std::vector<std::string> here{address_};
  if (address_ == kEverywhere) here = heartbeat::own_addresses();
  if (here.empty()) here = {"ADDRESS-OF-THIS-COMPUTER"};
  if (here.size() > kAddressesTold) here.resize(kAddressesTold);
  std::string out = "Heartbeats are listened for. At the PC under test, before the load begins:\n";
  for (const std::string& address : here) {
    const bool v6 = address.find(':') != std::string::npos;
    out += fmt::format("  steadyrail heartbeat {}{}{}:{} --token {}\n", v6 ? "[" : "", address, v6 ? "]" : "",
                       receiver_->port(), token_);
  }
  return out +
         "With '--one-liner powershell', 'sh' or 'python' after it, here, it prints a line that does the same "
         "where this program is not.";
}

std::vector<steadyrail::proto::HostNote> HeartbeatWatch::notes_due(bool ends) {
  if (ends) receiver_->finish();
  return receiver_->take_notes();
}

}  // namespace host::app
