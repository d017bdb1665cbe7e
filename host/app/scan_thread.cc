// SPDX-License-Identifier: Apache-2.0
#include "host/app/scan_thread.h"

#include "proto/wire/window.h"

namespace host::app {

simulate::ServeOptions ScanThread::in_step(LockStep& step, std::uint64_t end_scan) {
  simulate::ServeOptions options;
  options.duration_scans = end_scan + wire::kScansPerBlock;  // one block more: it carries the stop
  options.before_scan = [&step](std::uint64_t scan) { return step.before_scan(scan); };
  return options;
}

ScanThread::ScanThread(int socket, simulate::ScanSource& source, LockStep& step, simulate::ServeOptions options)
    : options_(std::move(options)) {
  options_.stop = &step.stop_serving();
  thread_ = std::jthread([this, socket, &source, &step] {
    if (!step.wait_for_start()) return;
    result_ = simulate::serve(socket, source, options_);
    // Without scans the jig keeps silent; do not make the session find out by waiting.
    if (!result_ && !step.stop_serving()) step.request_stop();
  });
}

std::expected<void, std::string> ScanThread::join() {
  thread_.join();
  if (!result_) return std::unexpected(result_.error());
  return {};
}

}  // namespace host::app
