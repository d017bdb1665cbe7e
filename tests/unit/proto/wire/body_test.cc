// SPDX-License-Identifier: Apache-2.0
#include "proto/wire/body.h"

#include <gtest/gtest.h>

#include "proto/wire/body_reader.h"
#include "tests/unit/proto/wire/bytes.h"

namespace wire {
namespace {

/// Fewest bytes of any width and the exceptions it leaves, tried one by one.
std::size_t fewest_bytes(std::span<const std::uint32_t> values) {
  std::size_t fewest = SIZE_MAX;
  for (std::uint32_t width = 0; width <= kColumnWidthMax; ++width) {
    std::uint32_t exceptions = 0;
    bool possible = true;
    for (const std::uint32_t value : values) {
      exceptions += value >> width != 0;
      possible = possible && value >> width <= 0xFFFF;
    }
    if (!possible || exceptions > kColumnExceptionsMax) continue;
    fewest = std::min(fewest, (values.size() * width + 7) / 8 + 3 * exceptions);
  }
  return fewest;
}

TEST(ColumnPlanTest, IsTheShortestOfAllWidths) {
  std::mt19937 random(21);
  for (int round = 0; round < 20000; ++round) {
    ColumnValues values;
    const std::size_t count = 1 + random() % kColumnValuesMax;
    const std::uint32_t usual = random() % 26;
    const std::uint32_t rare_every = 1 + random() % 40;
    for (std::uint32_t& value : values) {
      const std::uint32_t width = random() % rare_every == 0 ? random() % 26 : usual;
      value = static_cast<std::uint32_t>(random()) & ((1U << width) - 1);
    }
    const std::span used{values.data(), count};
    ASSERT_EQ(plan_column(used).bytes(count), fewest_bytes(used)) << "round " << round;
  }
}

TEST(ColumnPlanTest, TakesNoBitsForZeros) {
  const ColumnValues zeros{};
  EXPECT_EQ(plan_column(zeros).bytes(32), 0U);
}

TEST(BodyTest, ColumnsRoundTripAtEveryPlanAndCount) {
  std::mt19937 random(22);
  for (int round = 0; round < 20000; ++round) {
    ColumnValues values{};
    const std::size_t count = 1 + random() % kColumnValuesMax;
    const std::uint32_t width = random() % 26;
    for (std::size_t k = 0; k < count; ++k) {
      values[k] = static_cast<std::uint32_t>(random()) & ((1U << (random() % 12 == 0 ? 25 : width)) - 1);
    }
    const std::span used{values.data(), count};
    const ColumnPlan plan = plan_column(used);
    Bytes body(200);
    BodyWriter writer(body);
    writer.put_head(plan.width, plan.exceptions);
    writer.put_values(used, plan);
    BodyReader reader{std::span(body).first(writer.bytes())};
    const BodyReader::Head head = reader.take_head();
    ColumnValues back;
    reader.take_values(head.form, head.exceptions, count, back);
    ASSERT_EQ(reader.error(), std::nullopt);
    ASSERT_EQ(back, values) << "round " << round;
  }
}

}  // namespace
}  // namespace wire
