// SPDX-License-Identifier: Apache-2.0
#include "host/heartbeat/one_liner.h"

#include <algorithm>

#include <fmt/format.h>

#include "host/heartbeat/beat.h"

namespace host::heartbeat {
namespace {

// A beat that cannot be sent is passed over in all three: the network may be away for a while.

// Written after its documentation, not run: no such system was at hand.
constexpr const char* kPowerShell =
    R"($u=New-Object Net.Sockets.UdpClient '{host}',{port};$r=[guid]::NewGuid().ToString('N').Substring(0,12);)"
    R"($w=[Diagnostics.Stopwatch]::StartNew();for($n=1;;$n++){{$b=[Text.Encoding]::ASCII.GetBytes()"
    R"("steadyrail-heartbeat 1 {token} $r $n $($w.ElapsedMilliseconds) {ms}");)"
    R"(try{{[void]$u.Send($b,$b.Length)}}catch{{}};Start-Sleep -Milliseconds {ms}}})";

// No UDP in sh itself: bash has it.
constexpr const char* kSh =
    R"(bash -c 'r=$$-$(date +%s);n=0;exec 3>/dev/udp/{host}/{port}||exit 3;while :;do n=$((n+1));read u x</proc/uptime;)"
    R"(printf "steadyrail-heartbeat 1 {token} %s %d %s0 {ms}" $r $n ${{u/./}} >&3 2>/dev/null;sleep {s};done')";

constexpr const char* kPython =
    R"(python3 -c 'exec("""import os,socket,time\na=socket.getaddrinfo("{host}",{port},type=socket.SOCK_DGRAM)[0]\n)"
    R"(s=socket.socket(a[0],socket.SOCK_DGRAM)\nr=os.urandom(6).hex()\nn=0\nwhile 1:\n n+=1\n try:\n  )"
    R"(s.sendto(f"steadyrail-heartbeat 1 {token} {{r}} {{n}} {{int(time.monotonic()*1000)}} {ms}".encode(),a[4])\n )"
    R"(except OSError:\n  pass\n time.sleep({s})\n""")')";

bool is_host(std::string_view host) {
  return !host.empty() && host.size() <= 253 && std::ranges::all_of(host, [](char letter) {
    return (letter >= '0' && letter <= '9') || (letter >= 'a' && letter <= 'z') || (letter >= 'A' && letter <= 'Z') ||
           letter == '.' || letter == ':' || letter == '-';
  });
}

}  // namespace

std::expected<std::string, std::string> one_liner(std::string_view shell, std::string_view host, std::uint16_t port,
                                                  std::string_view token, std::chrono::milliseconds period) {
  if (!is_host(host)) return std::unexpected(fmt::format("'{}' is no name or address of a computer", host));
  if (!is_token(token))
    return std::unexpected(fmt::format("'{}' is no token: 4 to 32 letters, digits, hyphens", token));
  const char* form = shell == "powershell" ? kPowerShell : shell == "sh" ? kSh : shell == "python" ? kPython : nullptr;
  if (form == nullptr) return std::unexpected(fmt::format("'{}': powershell, sh or python", shell));
  return fmt::format(fmt::runtime(form), fmt::arg("host", host), fmt::arg("port", port), fmt::arg("token", token),
                     fmt::arg("ms", period.count()), fmt::arg("s", static_cast<double>(period.count()) / 1000));
}

}  // namespace host::heartbeat
