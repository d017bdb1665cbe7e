// SPDX-License-Identifier: Apache-2.0
#include "host/selftest/corrections.h"

#include <fmt/format.h>

namespace host::selftest {
namespace {

const steadyrail::proto::Channel& described(const model::Jig& jig, const std::string& name) {
  const auto& channels = jig.description().channels();
  return *std::ranges::find(channels, name, &steadyrail::proto::Channel::name);
}

}  // namespace

std::vector<std::string> corrections(const model::Jig& jig, const std::vector<Swap>& swaps,
                                     const std::vector<Scale>& scales, const std::vector<Noise>& noises) {
  std::vector<std::string> out;
  for (const Swap& swap : swaps) {
    const auto& one = described(jig, swap.one);
    const auto& other = described(jig, swap.other);
    out.push_back(
        fmt::format("# {} and {} swapped: change their leads, or let the description follow them (the dividers "
                    "stay where they are)",
                    swap.one, swap.other));
    out.push_back(fmt::format("index: {} name: \"{}\" input: \"{}\"", other.index(), swap.one, other.input()));
    out.push_back(fmt::format("index: {} name: \"{}\" input: \"{}\"", one.index(), swap.other, one.input()));
  }
  for (const Scale& scale : scales) {
    out.push_back(fmt::format("# {}: if its parts are what you want there", scale.channel));
    out.push_back(
        fmt::format("unit_per_code: {:.7g} unit_at_code_0: {:.7g}", scale.unit_per_code, scale.unit_at_code_0));
  }
  for (const Noise& noise : noises) {
    out.push_back(fmt::format("# {}: if nothing more can be done about it", noise.channel));
    out.push_back(fmt::format("noise_code_rms: {:.4g}", noise.code_rms));
  }
  return out;
}

}  // namespace host::selftest
