// SPDX-License-Identifier: Apache-2.0
#include <cstdio>
#include <memory>
#include <string_view>

#include "firmware/board/native/options.h"
#include "firmware/board/native/virtual_jig.h"
#include "firmware/board/native/waiting.h"

int main(int argc, char** argv) {
  constexpr int kCouldNotFinish = 3;
  constexpr int kWrongUse = 2;
  if (argc == 2 && std::string_view(argv[1]) == "--help") {
    std::fputs(firmware::kUsage, stdout);
    return 0;
  }
  const auto options = firmware::parse_options({argv + 1, static_cast<std::size_t>(argc > 0 ? argc - 1 : 0)});
  if (!options) {
    std::fprintf(stderr, "steadyrail-virtual-jig: %s\n%s", options.error().c_str(), firmware::kUsage);
    return kWrongUse;
  }
  if (!firmware::catch_stop_signals()) return kCouldNotFinish;
  const auto jig = std::make_unique<firmware::VirtualJig>(*options);
  const std::string failure = jig->serve();
  if (failure.empty()) return 0;
  std::fprintf(stderr, "steadyrail-virtual-jig: %s\n", failure.c_str());
  return kCouldNotFinish;
}
