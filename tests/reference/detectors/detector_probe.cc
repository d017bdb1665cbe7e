// SPDX-License-Identifier: Apache-2.0
// detector_probe: what this project's detectors say, for a program that has its own.
//   detector_probe < requests > answers
#include <cstdio>
#include <exception>
#include <iostream>

#include <fmt/core.h>

#include "tests/reference/detectors/probe_request.h"

int main() {
  try {
    while (const auto request = reference::read_request(std::cin)) {
      auto answer = reference::answer_detect(*request);
      if (!answer) answer = reference::answer_resistance(*request);
      if (!answer) answer = reference::answer_judge(*request);
      if (!answer) throw std::runtime_error("no such word: " + request->word);
      fmt::print("{}\n", answer->text());
    }
  } catch (const std::exception& error) {
    fmt::print(stderr, "detector_probe: {}\n", error.what());
    return 2;
  }
  return 0;
}
