// SPDX-License-Identifier: Apache-2.0
// Busy or idle: dips come with load, and so do lock-ups. Only windows of the same load state may be compared.
#pragma once

#include <cstddef>
#include <limits>
#include <optional>
#include <vector>

#include "diagnosis.pb.h"

namespace host::diagnose {

/// The session in columns of equal length, read as loads.
class LoadState {
 public:
  /// `exposure` must outlive this.
  explicit LoadState(const steadyrail::proto::Exposure& exposure);

  std::size_t columns() const { return count_; }
  double column_s() const { return exposure_.column_s(); }
  /// Mean load over columns [from, to), W; nullopt where a scan of them is missing.
  std::optional<double> mean_w(std::size_t from, std::size_t to) const;
  /// Above the middle between the session's 10 % and 90 % points; a load that never moved is busy throughout.
  bool busy(double load_w) const { return load_w >= threshold_w_; }
  /// Column from which on the load stayed idle up to `end` after it had been busy in [from, end); `end`: it never left.
  std::size_t left_busy(std::size_t from, std::size_t end) const;

 private:
  bool whole(std::size_t column) const;

  const steadyrail::proto::Exposure& exposure_;
  std::size_t count_;
  double threshold_w_ = -std::numeric_limits<double>::infinity();
};

}  // namespace host::diagnose
