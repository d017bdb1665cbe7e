// SPDX-License-Identifier: Apache-2.0
#include "host/app/terminal.h"

#include "host/data/shipped.h"
#include "host/report/escape.h"

namespace host::app {
namespace {

constexpr std::chrono::seconds kLogEvery{10};
constexpr std::size_t kLineWidth = 100;

/// Complaints about texts are several lines; each is made safe by itself.
std::string safe(std::string_view message) {
  std::string out;
  while (!message.empty()) {
    const std::size_t end = message.find('\n');
    out += report::terminal(message.substr(0, end));
    if (end == std::string_view::npos) break;
    message.remove_prefix(end + 1);
    if (!message.empty()) out += '\n';
  }
  return out;
}

}  // namespace

void Terminal::print_caution() {
  end_progress();
  err_ << data::shipped("texts/caution.txt").value_or("") << std::endl;
}

int Terminal::complain(std::string_view message, int status) {
  end_progress();
  err_ << "steadyrail: " << safe(message) << std::endl;
  return status;
}

void Terminal::say(std::string_view message) {
  end_progress();
  err_ << safe(message) << std::endl;
}

void Terminal::progress(std::string_view line) {
  const auto now = std::chrono::steady_clock::now();
  if (err_is_terminal_) {
    std::string text = safe(line);
    if (text.size() < kLineWidth) text.append(kLineWidth - text.size(), ' ');
    err_ << '\r' << text << std::flush;
    line_open_ = true;
  } else if (now - last_line_ >= kLogEvery) {
    err_ << safe(line) << std::endl;
    last_line_ = now;
  }
}

void Terminal::end_progress() {
  if (line_open_) err_ << '\n';
  line_open_ = false;
}

}  // namespace host::app
