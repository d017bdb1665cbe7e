// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/native/options.h"

#include <charconv>
#include <cstddef>
#include <string_view>

namespace firmware {

const char* const kUsage =
    "Usage: steadyrail-virtual-jig --scan-fd N --announce-fd M [--jig-id ID] [--mode observe|bench]\n"
    "                              [--line wait|drop] [--boot N] [--store sound|full|worn]\n"
    "The jig's firmware as a process behind a pseudo-terminal, fed with scans of a simulated supply through file\n"
    "descriptor N. Writes the terminal's path to file descriptor M. 'steadyrail rehearse' starts it.\n";

namespace {

template <typename Number>
bool parse_number(std::string_view text, Number& out) {
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), out);
  return error == std::errc{} && end == text.data() + text.size();
}

bool apply(std::string_view name, std::string_view value, Options& options) {
  if (name == "--scan-fd") return parse_number(value, options.scan_fd) && options.scan_fd >= 0;
  if (name == "--announce-fd") return parse_number(value, options.announce_fd) && options.announce_fd >= 0;
  if (name == "--boot") return parse_number(value, options.boot);
  if (name == "--jig-id") {
    options.jig_id = value;
    return !value.empty() && value.size() < 16;  // as the schema's Hello holds
  }
  if (name == "--mode") {
    options.mode = value == "bench" ? Mode::kBench : Mode::kObserve;
    return value == "bench" || value == "observe";
  }
  if (name == "--store") {
    options.store = value == "full" ? StoreState::kFull : value == "worn" ? StoreState::kWorn : StoreState::kSound;
    return value == "sound" || value == "full" || value == "worn";
  }
  options.line = value == "drop" ? LinePolicy::kDrop : LinePolicy::kWait;
  return value == "drop" || value == "wait";
}

bool known(std::string_view name) {
  for (const std::string_view option :
       {"--scan-fd", "--announce-fd", "--jig-id", "--mode", "--line", "--boot", "--store"}) {
    if (name == option) return true;
  }
  return false;
}

}  // namespace

std::expected<Options, std::string> parse_options(std::span<const char* const> arguments) {
  Options options;
  for (std::size_t i = 0; i < arguments.size(); i += 2) {
    const std::string name = arguments[i];
    if (!known(name)) return std::unexpected("unknown option " + name);
    if (i + 1 == arguments.size()) return std::unexpected(name + " needs a value");
    if (!apply(name, arguments[i + 1], options)) {
      return std::unexpected(name + " cannot be '" + arguments[i + 1] + "'");
    }
  }
  if (options.scan_fd < 0) return std::unexpected("--scan-fd is missing");
  if (options.announce_fd < 0) return std::unexpected("--announce-fd is missing");
  return options;
}

}  // namespace firmware
