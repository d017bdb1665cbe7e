// SPDX-License-Identifier: Apache-2.0
// The proposed split of cables, against every arrangement tried one by one.
#include "host/label/cable_split.h"

#include <gmock/gmock.h>

#include <algorithm>
#include <functional>
#include <random>

#include "tests/unit/host/label/system_fixture.h"

namespace host::label {
namespace {

namespace proto = steadyrail::proto;
using testing::HasSubstr;
using testing::IsEmpty;

struct Puzzle {
  std::vector<SplitCable> cables;
  std::vector<std::size_t> sub_rail_of;
  std::vector<std::vector<double>> limits;
};

/// Two families of cables with sockets of their own, each socket on a sub-rail or on none.
Puzzle random_puzzle(std::mt19937_64& random) {
  const auto whole = [&](int least, int most) { return std::uniform_int_distribution<int>(least, most)(random); };
  const auto real = [&](double least, double most) {
    return std::uniform_real_distribution<double>(least, most)(random);
  };
  Puzzle out;
  const int sub_rails = whole(2, 4);
  const int cases = whole(1, 3);
  for (int family = 0; family < 2; ++family) {
    const int count = whole(1, 3);
    std::vector<std::size_t> sockets;
    for (int i = whole(count, count + 2); i > 0; --i) {
      sockets.push_back(out.sub_rail_of.size());
      out.sub_rail_of.push_back(static_cast<std::size_t>(whole(0, sub_rails)));
    }
    for (int i = 0; i < count; ++i) {
      SplitCable& cable = out.cables.emplace_back();
      cable.open = sockets;
      std::rotate(cable.open.begin(), cable.open.begin() + i, cable.open.end());
      for (int one = 0; one < cases; ++one) cable.amps.push_back(real(1, 20));
    }
  }
  for (int one = 0; one < cases; ++one) {
    std::vector<double>& row = out.limits.emplace_back();
    for (int sub = 0; sub < sub_rails; ++sub) row.push_back(real(15, 40));
  }
  return out;
}

double margin_of(const Puzzle& puzzle, const std::vector<std::size_t>& sockets) {
  double least = 1;
  for (std::size_t one = 0; one < puzzle.limits.size(); ++one) {
    for (std::size_t sub = 0; sub < puzzle.limits[one].size(); ++sub) {
      double amps = 0;
      for (std::size_t i = 0; i < sockets.size(); ++i) {
        if (puzzle.sub_rail_of[sockets[i]] == sub) amps += puzzle.cables[i].amps[one];
      }
      least = std::min(least, 1 - amps / puzzle.limits[one][sub]);
    }
  }
  return least;
}

/// Every arrangement there is.
double best_by_force(const Puzzle& puzzle) {
  double best = -1e9;
  std::vector<std::size_t> sockets(puzzle.cables.size());
  const std::function<void(std::size_t)> place = [&](std::size_t cable) {
    if (cable == sockets.size()) {
      best = std::max(best, margin_of(puzzle, sockets));
      return;
    }
    for (const std::size_t socket : puzzle.cables[cable].open) {
      const auto placed = sockets.begin() + static_cast<std::ptrdiff_t>(cable);
      if (std::find(sockets.begin(), placed, socket) != placed) continue;
      sockets[cable] = socket;
      place(cable + 1);
    }
  };
  place(0);
  return best;
}

TEST(BestSplitTest, IsAsGoodAsEveryArrangementTried) {
  std::mt19937_64 random(1);
  for (int round = 0; round < 300; ++round) {
    const Puzzle puzzle = random_puzzle(random);
    const SplitResult found = best_split(puzzle.cables, puzzle.sub_rail_of, puzzle.limits);
    ASSERT_EQ(found.sockets.size(), puzzle.cables.size()) << "round " << round;
    ASSERT_NEAR(found.worst_margin, best_by_force(puzzle), 1e-8) << "round " << round;
    ASSERT_NEAR(found.worst_margin, margin_of(puzzle, found.sockets), 1e-8) << "round " << round;
  }
}

TEST(BestSplitTest, MovesNothingWithoutGain) {
  const std::vector<SplitCable> cables = {{{10}, {0, 1}}, {{10}, {1, 0}}};
  const std::vector<std::size_t> sub_rail_of = {0, 1};
  const std::vector<std::vector<double>> limits = {{20, 20}};
  EXPECT_EQ(best_split(cables, sub_rail_of, limits).sockets, (std::vector<std::size_t>{0, 1}));
}

TEST(BestSplitTest, SaysWhenTheCablesDoNotFit) {
  const std::vector<SplitCable> cables = {{{10}, {0}}, {{10}, {0}}};
  const std::vector<std::size_t> sub_rail_of = {0};
  const std::vector<std::vector<double>> limits = {{20}};
  EXPECT_THAT(best_split(cables, sub_rail_of, limits).sockets, IsEmpty());
}

// By hand: 12V2 of 25 A carries both graphics cables, 22.5 A, 10 % left. With card-b on the third socket 12V2 carries
// 11.25 A (55 % left), 12V1 of 30 A main, processor and card-b: 2.5 + 12.5 + 11.25 = 26.25 A (12.5 % left), which is
// the most there is.
constexpr std::string_view kTwoSubRails = R"(
id: "X-1" total_w: 900 total_basis: TOTAL_BASIS_CONTINUOUS
rails { rail: RAIL_P12V amps: 50
  sub_rails { name: "12V1" amps: 30 connectors: ["main", "processor-1", "graphics-3"] }
  sub_rails { name: "12V2" amps: 25 connectors: ["graphics-1", "graphics-2"] } }
rails { rail: RAIL_P5V amps: 20 }
sockets: ["main", "processor-1", "graphics-1", "graphics-2", "graphics-3"]
)";

TEST(SplitCablesTest, MovesOneGraphicsCableToTheEmptierSubRail) {
  const auto split = split_cables(unit_of(kTwoSubRails),
                                  system_of(pc_but("excursions { duration_s: 1e-3 percent: 200 }", "")), nullptr);
  EXPECT_EQ(split.refusal(), "");
  EXPECT_NEAR(split.worst_margin_percent_now(), 10, 1e-9);
  EXPECT_NEAR(split.worst_margin_percent_proposed(), 12.5, 1e-9);
  EXPECT_EQ(split.worst_sub_rail_proposed(), "12V1");
  ASSERT_EQ(split.moves_size(), 1);
  EXPECT_EQ(split.moves(0).socket_proposed(), "graphics-3");
  EXPECT_EQ(split.moves(0).sub_rail_now(), "12V2");
  EXPECT_EQ(split.moves(0).sub_rail_proposed(), "12V1");
  EXPECT_GE(split.arrangements_tried(), 1U);
}

TEST(SplitCablesTest, SaysWhyItProposesNothing) {
  const proto::System pc = system_of(kPc);
  EXPECT_THAT(split_cables(unit_of(kSound), pc, nullptr).refusal(), HasSubstr("nothing to split"));
  const std::string unmapped =
      "id: \"X-2\" total_w: 900 rails { rail: RAIL_P12V amps: 50 sub_rails { name: \"a\" amps: "
      "30 } sub_rails { name: \"b\" amps: 30 } }";
  EXPECT_THAT(split_cables(unit_of(unmapped), pc, nullptr).refusal(), HasSubstr("is not printed"));
  std::string short_of(kTwoSubRails);
  short_of.replace(short_of.find(", \"graphics-3\"]"), 15, "]");
  short_of.replace(short_of.find(", \"graphics-2\"]"), 15, "]");
  short_of.replace(short_of.find(", \"graphics-2\", \"graphics-3\"]"), 29, "]");
  EXPECT_THAT(split_cables(unit_of(short_of), pc, nullptr).refusal(), HasSubstr("too few sockets"));
}

}  // namespace
}  // namespace host::label
