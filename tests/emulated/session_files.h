// SPDX-License-Identifier: Apache-2.0
// A session as files: scans.bin holds blocks of proto/wire/scan_stream.h, commands.bin the host's frames.
#pragma once

#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <vector>

#include "link.pb.h"
#include "proto/wire/scan_stream.h"

namespace emulated {

using Bytes = std::vector<std::byte>;

/// Empty, made anew, under the build folder.
std::filesystem::path fresh_folder(const std::string& name);

struct ScenarioOptions {
  std::uint32_t ramp_ms = 0;    // 8 channels are followed so long from each start on
  bool long_captures = false;   // 60 ms of all channels, 180 ms of the graphics converter's for its triggers
  bool load_programme = false;  // in bench, 8 gates at 100 Hz; what is simulated knows nothing of them
};

/// A simulated supply of this scenario from standby on, watched under ATX 3.0 by the reference jig.
void write_scenario(const std::filesystem::path& folder, const std::string& scenario, std::uint64_t seed,
                    std::uint32_t seconds, const ScenarioOptions& options = {});

/// A session whose jig stands in bench, not beside a PC.
bool is_bench(const std::filesystem::path& folder);

/// Every second scan beyond an armed limit on all 24 channels, and as many excursions as scans beyond; with `ramps`, 8
/// channels of them are followed all the time.
void write_storm(const std::filesystem::path& folder, std::uint32_t seconds, bool ramps = false);

Bytes read_file(const std::filesystem::path& path);

/// Frames with their delimiters; what lies before the first delimiter is left out.
std::vector<std::span<const std::byte>> split_frames(const Bytes& bytes);

/// Payloads of the jig's frames; a damaged one fails the test that asks.
std::vector<steadyrail::proto::JigToHost> messages_of(const Bytes& frames);

}  // namespace emulated
