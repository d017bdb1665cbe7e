// SPDX-License-Identifier: Apache-2.0
#include "host/diagnose/lock_ups.h"

#include <algorithm>
#include <cmath>
#include <random>

#include <gtest/gtest.h>

#include "host/diagnose/evidence.h"

namespace host::diagnose {
namespace {

namespace proto = steadyrail::proto;

constexpr double kColumnS = 0.25;

/// `hours` of a load that changes between 60 W and 300 W every minute.
proto::Exposure session(double hours) {
  proto::Exposure out;
  out.set_column_s(kColumnS);
  for (int i = 0; i < static_cast<int>(hours * 3600 / kColumnS); ++i) {
    out.add_load_w(i / 240 % 2 == 0 ? 60 : 300);
    out.add_seen_share(1);
  }
  return out;
}

void event(proto::Exposure& exposure, double at_s) {
  exposure.add_event_s(at_s);
  exposure.add_event_words("excursion at graphics-1");
}

TEST(LockUpsTest, CountsTheBaseInTheSameLoadStateOnly) {
  proto::Exposure exposure = session(1);
  for (int minute = 1; minute < 60; minute += 2) event(exposure, minute * 60 + 30.1);  // one in each busy minute
  const auto found = weigh(exposure, {{600 + 90, 600 + 91, "key", "froze"}}, default_declaration());
  ASSERT_EQ(found.lock_ups_size(), 1);
  const proto::LockUp& one = found.lock_ups(0);
  EXPECT_TRUE(one.busy());
  // Windows of 3 s: the 2 s declared and the mark's own second. 30 busy minutes of 20 each; those within 10 s of the
  // mark are left out: 678 s to 702 s, 8 windows. The busy minute's own event at 690.1 lies among them.
  EXPECT_EQ(one.base_windows(), 30U * 20 - 8);
  EXPECT_EQ(one.base_hits(), 29U);
  EXPECT_DOUBLE_EQ(one.base_chance(), base_chance(29, 592));
  EXPECT_TRUE(one.hit());  // at 690.1, inside the mark's own interval
  EXPECT_NEAR(one.lead_s(), -0.1, 1e-9);
}

TEST(LockUpsTest, AnEventAfterTheLoadHasGoneIsNoHit) {
  proto::Exposure exposure = session(1);
  // The PC froze at 1 s before the mark: its load fell, and the fall itself made an overshoot.
  for (int i = 0; i < 4; ++i) exposure.set_load_w(static_cast<int>((690 - 1) / kColumnS) + i, 50);
  event(exposure, 689.3);
  auto found = weigh(exposure, {{690, 690.5, "key", ""}}, default_declaration());
  EXPECT_FALSE(found.lock_ups(0).hit());
  EXPECT_TRUE(found.lock_ups(0).busy());
  event(exposure, 688.7);
  found = weigh(exposure, {{690, 690.5, "key", ""}}, default_declaration());
  EXPECT_TRUE(found.lock_ups(0).hit());
  EXPECT_NEAR(found.lock_ups(0).lead_s(), 1.3, 1e-9);
}

TEST(LockUpsTest, OverlappingWindowsCountOnce) {
  const auto found = weigh(session(1), {{691, 692, "key", "a"}, {690, 690.5, "heartbeat", "b"}}, default_declaration());
  ASSERT_EQ(found.lock_ups_size(), 1);
  EXPECT_EQ(found.lock_ups(0).from_s(), 690);
  EXPECT_EQ(found.lock_ups(0).to_s(), 690.5) << "the hand came later and only confirms";
  EXPECT_EQ(found.lock_ups(0).source(), "heartbeat and key");
  EXPECT_EQ(found.lock_ups(0).words(), "b; a");
}

TEST(LockUpsTest, MarksThatNeedNoHandNarrowEachOther) {
  const auto found =
      weigh(session(1), {{690, 691.5, "heartbeat", ""}, {690.75, 691, "flat load", "", 0.3}, {691, 693, "button", ""}},
            default_declaration());
  ASSERT_EQ(found.lock_ups_size(), 1);
  EXPECT_EQ(found.lock_ups(0).from_s(), 690.75);
  EXPECT_EQ(found.lock_ups(0).to_s(), 691);
  EXPECT_EQ(found.lock_ups(0).reliance(), 1) << "another source told too";
}

// Law of total probability by hand: window 2 s, q 0.8, r 0.3, base b of the same state: r q / b + 1 - r.
TEST(LockUpsTest, AMarkThatOnlyMayBeALockUpWeighsLess) {
  proto::Exposure exposure = session(1);
  for (int minute = 1; minute < 60; minute += 2) event(exposure, minute * 60 + 29.1);
  const auto found = weigh(exposure, {{690, 690, "flat load", "", 0.3}}, default_declaration());
  ASSERT_TRUE(found.lock_ups(0).hit());
  const double base = found.lock_ups(0).base_chance_upper();
  EXPECT_NEAR(found.likelihood_ratio(), 0.3 * 0.8 / base + 0.7, 1e-9);
}

TEST(LockUpsTest, AFallOfPwrOkIsNotItsOwnForerunner) {
  proto::Exposure exposure = session(1);
  exposure.add_event_s(690);
  exposure.add_event_words("shutdown at pwr-ok");
  auto found = weigh(exposure, {{689.99, 690.01, "PWR_OK", ""}}, default_declaration());
  EXPECT_FALSE(found.lock_ups(0).hit());
  event(exposure, 689);
  found = weigh(exposure, {{689.99, 690.01, "PWR_OK", ""}}, default_declaration());
  EXPECT_TRUE(found.lock_ups(0).hit());
}

TEST(LockUpsTest, MoreLooksWeighLessAndAFullListIsTold) {
  proto::Exposure exposure = session(1);
  event(exposure, 689);
  const auto once = weigh(exposure, {{690, 690, "heartbeat", ""}}, default_declaration());
  proto::Declaration declared = default_declaration();
  declared.set_tries(4);
  exposure.set_cut(true);
  const auto again = weigh(exposure, {{690, 690, "heartbeat", ""}}, declared);
  EXPECT_GT(once.likelihood_ratio(), 10);
  EXPECT_NEAR(again.likelihood_ratio(), once.likelihood_ratio() / 4, 1e-9);
  EXPECT_NEAR(again.p_value(), once.p_value() * 4, 1e-12);
  EXPECT_EQ(again.remarks_size(), 2);
  EXPECT_FALSE(again.has_events_per_h_upper());
  EXPECT_TRUE(once.remarks().empty());
}

TEST(LockUpsTest, SaysWhatItCannotWeigh) {
  proto::Exposure exposure = session(0.1);
  auto found = weigh(exposure, {{90, 91, "key", ""}}, default_declaration());
  EXPECT_FALSE(found.has_likelihood_ratio());
  EXPECT_NE(found.lock_ups(0).refusal().find("200 are needed"), std::string::npos);
  exposure = session(1);
  exposure.set_seen_share(static_cast<int>(689 / kColumnS), 0.4F);
  found = weigh(exposure, {{690, 691, "key", ""}}, default_declaration());
  EXPECT_NE(found.lock_ups(0).refusal().find("not seen whole"), std::string::npos);
  EXPECT_EQ(found.refusal(), "no lock-up could be weighed");
  for (const double outside : {-5.0, 1e9}) {
    EXPECT_FALSE(weigh(exposure, {{outside, outside + 1, "key", ""}}, default_declaration()).has_likelihood_ratio());
  }
  EXPECT_EQ(weigh({}, {{1, 2, "key", ""}}, default_declaration()).refusal(), "nothing was seen");
}

TEST(LockUpsTest, ADeclarationFromAForeignFileIsNotTrusted) {
  for (const auto& [window_s, chance] : {std::pair{0.0, 0.8},
                                         {-2.0, 0.8},
                                         {std::nan(""), 0.8},
                                         {1e300, 0.8},
                                         {2.0, 0.0},
                                         {2.0, 1.0},
                                         {2.0, std::nan("")}}) {
    proto::Declaration declared;
    declared.set_window_s(window_s);
    declared.set_chance_if_faulty(chance);
    const auto found = weigh(session(1), {{690, 691, "key", ""}}, declared);
    EXPECT_FALSE(found.has_likelihood_ratio()) << window_s << " " << chance;
    EXPECT_NE(found.refusal().find("makes no sense"), std::string::npos);
  }
}

struct Innocents {
  double mean_ratio = 0;
  double deviation = 0;  // of the mean
  int accused = 0;       // ratio above 100
};

/// Sessions of sound supplies: dips come with heavy scenes, and so do three lock-ups of a session, each marked by an
/// interval of `mark_s`, but neither with the other.
Innocents innocents(unsigned seed, int trials, double mark_s) {
  constexpr double kHours = 4;
  std::mt19937_64 chance(seed);
  std::uniform_real_distribution<double> uniform;
  const int columns = static_cast<int>(kHours * 3600 / kColumnS);
  Innocents out;
  double squares = 0;
  for (int trial = 0; trial < trials; ++trial) {
    proto::Exposure exposure;
    exposure.set_column_s(kColumnS);
    std::vector<int> heavy_columns;
    bool heavy = false;
    for (int i = 0; i < columns; ++i) {
      if (i % 240 == 0) heavy = uniform(chance) < 0.2;
      exposure.add_load_w(heavy ? 320 : 120);
      exposure.add_seen_share(1);
      if (heavy) heavy_columns.push_back(i);
      const double expected = (heavy ? 300.0 : 10.0) / 3600 * kColumnS;
      if (uniform(chance) < expected) exposure.add_event_s((i + uniform(chance)) * kColumnS);
    }
    if (heavy_columns.size() < 2000) continue;
    std::vector<MarkedLockUp> marks;
    for (int k = 0; k < 3; ++k) {
      const double at = heavy_columns[static_cast<std::size_t>(uniform(chance) * heavy_columns.size())] * kColumnS;
      marks.push_back({at, at + mark_s, "key", ""});
    }
    const auto found = weigh(exposure, marks, default_declaration());
    const double ratio = found.has_likelihood_ratio() ? found.likelihood_ratio() : 1;
    out.accused += ratio > 100 ? 1 : 0;
    out.mean_ratio += ratio / trials;
    squares += ratio * ratio / trials;
  }
  out.deviation = std::sqrt((squares - out.mean_ratio * out.mean_ratio) / trials);
  return out;
}

// A base rate of the whole session accuses such a supply in 3 % of sessions with a mean ratio near 40; of the same load
// state it must not. Bounds: P(ratio > 100) at most 0.5 %, mean ratio at most 1 within its own uncertainty.
TEST(LockUpsTest, InnocentSuppliesAreNotAccused) {
  constexpr unsigned kSeed = 20260102;
  constexpr int kTrials = 1500;
  const Innocents found = innocents(kSeed, kTrials, 0.3);
  RecordProperty("mean_ratio", std::to_string(found.mean_ratio));
  EXPECT_LE(found.mean_ratio, 1 + 3 * found.deviation) << "seed " << kSeed;
  EXPECT_LE(found.accused, kTrials * 0.005 + 3 * std::sqrt(kTrials * 0.005)) << "seed " << kSeed;
  EXPECT_GT(found.mean_ratio, 0.1) << "a ratio that never rises could accuse nobody";
}

// A hand's mark spans two seconds: as much room for a dip as the window itself. A base of two seconds alone would make
// the mean ratio near 1.8 for each lock-up, near 6 for three.
TEST(LockUpsTest, ABadlyDatedLockUpAccusesNobodyEither) {
  constexpr unsigned kSeed = 20260103;
  const Innocents found = innocents(kSeed, 400, 2);
  EXPECT_LE(found.mean_ratio, 1 + 3 * found.deviation) << "seed " << kSeed;
  EXPECT_LT(found.deviation, 0.5) << "too few to tell";
  EXPECT_GT(found.mean_ratio, 0.1);
}

}  // namespace
}  // namespace host::diagnose
