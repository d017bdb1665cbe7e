// SPDX-License-Identifier: Apache-2.0
// A simulated supply, its cables, a PC as load and the jig's analogue chain: converter codes, 32 scans at a time.
#pragma once

#include <cstdint>
#include <expected>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "host/model/jig.h"
#include "host/simulate/scan_source.h"
#include "proto/wire/scan_stream.h"

namespace host::simulate {

struct SupplyOptions {
  /// Begin in standby and let the PC switch the supply on after 0.2 s; otherwise the PC is up and settled at scan 0.
  bool from_standby = false;
  /// No PC: the jig's load gates draw what the description's load bank says (without one 6 A each), and its PS_ON#
  /// alone switches the supply on. Begins in standby.
  bool load_bank = false;
};

class World;

class Supply : public ScanSource {
 public:
  /// One seed, one scenario and one description give the same codes, bit for bit.
  /// Errors (a sentence each): unknown scenario (the known ones are listed), a scan rate other than 32,000/s, a channel
  /// on a connector, rail or line the simulated PC does not have, a channel whose scale is zero.
  static std::expected<Supply, std::string> create(std::string_view scenario, std::uint64_t seed,
                                                   const steadyrail::proto::JigDescription& jig,
                                                   const SupplyOptions& options = {});
  static std::expected<Supply, std::string> create(std::string_view scenario, std::uint64_t seed, const model::Jig& jig,
                                                   const SupplyOptions& options = {}) {
    return create(scenario, seed, jig.description(), options);
  }
  Supply(Supply&&) noexcept;
  Supply& operator=(Supply&&) noexcept;
  ~Supply() override;

  /// Load gates add to the load, a driven PS_ON# switches the supply on. Channels the description leaves out read code
  /// 0.
  void next_block(wire::ScanCodes& codes, std::vector<wire::ScanEdge>& edges, const wire::JigOutputs& outputs) override;

  /// Whether programs run on the PC: not while it is off, starting, in reset or hung.
  bool pc_works() const;
  std::uint64_t next_scan() const override;
  double scan_rate_hz() const override;

 private:
  explicit Supply(std::unique_ptr<World> world);
  std::unique_ptr<World> world_;
};

}  // namespace host::simulate
