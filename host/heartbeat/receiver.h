// SPDX-License-Identifier: Apache-2.0
// The recording computer's end: a socket, and a thread that listens while this lives.
#pragma once

#include <cstdint>
#include <expected>
#include <memory>
#include <string>
#include <vector>

#include "recording.pb.h"

namespace host::heartbeat {

class Receiver {
 public:
  /// Listens on `address` (an IPv4 or IPv6 literal) for beats with `token`. `port` 0: any free one. The error is a
  /// sentence for the user.
  static std::expected<std::unique_ptr<Receiver>, std::string> listen(const std::string& address, std::uint16_t port,
                                                                      std::string token);
  ~Receiver();
  Receiver(const Receiver&) = delete;
  Receiver& operator=(const Receiver&) = delete;

  std::uint16_t port() const;
  // Any thread.
  std::vector<steadyrail::proto::HostNote> take_notes();
  std::vector<std::string> take_words();
  /// No more beats are taken; the last notes wait for take_notes().
  void finish();

 private:
  struct State;
  explicit Receiver(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

/// Addresses of this computer's interfaces, as literals, loopback left out: where a PC under test may send to.
std::vector<std::string> own_addresses();

}  // namespace host::heartbeat
