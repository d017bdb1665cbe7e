// SPDX-License-Identifier: Apache-2.0
#include <gtest/gtest.h>

#include <deque>
#include <vector>

#include "firmware/core/byte_queue.h"
#include "firmware/core/page_pool.h"
#include "firmware/core/rate_limit.h"
#include "tests/unit/firmware/jig_fixture.h"

namespace firmware {
namespace {

using testing::Random;
using Bytes = std::vector<std::byte>;

Bytes some_bytes(Random& random, std::size_t count) {
  Bytes bytes(count);
  for (std::byte& value : bytes) value = static_cast<std::byte>(random.next());
  return bytes;
}

TEST(ByteQueueTest, GivesBackInOrderWhatItTookAndRefusesWhatDoesNotFit) {
  Random random(3);
  ByteQueue<300> queue;
  std::deque<Bytes> kept;
  std::size_t used = 0;
  std::size_t refused = 0;
  for (int turn = 0; turn < 5000; ++turn) {
    if (random.next() % 2 == 0) {
      const Bytes item = some_bytes(random, random.next() % 60);
      const bool fits = used + item.size() + 2 <= 300;  // two bytes of length each
      EXPECT_EQ(queue.push(item), fits);
      if (fits) {
        kept.push_back(item);
        used += item.size() + 2;
      } else {
        ++refused;
      }
    } else if (!kept.empty()) {
      Bytes out(300);
      out.resize(queue.pop(out));
      EXPECT_EQ(out, kept.front());
      used -= kept.front().size() + 2;
      kept.pop_front();
    }
    EXPECT_EQ(queue.count(), kept.size());
  }
  EXPECT_GT(refused, 10U);
}

TEST(PagePoolTest, KeepsStreamsApartAndEveryPageComesBack) {
  Random random(4);
  PagePool pool;
  std::array<PageChain, 3> chains;
  std::array<std::deque<std::byte>, 3> kept;
  for (int turn = 0; turn < 3000; ++turn) {
    const std::size_t k = random.next() % 3;
    const std::size_t count = random.next() % 1200;
    if (random.next() % 2 == 0) {
      if (PagePool::pages_needed(chains[k], count) > pool.free_pages()) continue;
      const Bytes bytes = some_bytes(random, count);
      pool.append(chains[k], bytes);
      kept[k].insert(kept[k].end(), bytes.begin(), bytes.end());
    } else {
      Bytes out(std::min(count, kept[k].size()));
      pool.read(chains[k], out);
      EXPECT_TRUE(std::equal(out.begin(), out.end(), kept[k].begin()));
      kept[k].erase(kept[k].begin(), kept[k].begin() + static_cast<std::ptrdiff_t>(out.size()));
    }
  }
  for (PageChain& chain : chains) pool.release(chain);
  EXPECT_EQ(pool.free_pages(), kPageCount);
}

TEST(RateLimitTest, AllowsTheBurstThenTheRate) {
  RateLimit limit(10, 3);
  limit.begin(1000);
  int allowed = 0;
  for (std::uint64_t scan = 1000; scan < 1000 + 10 * 32000; ++scan) allowed += limit.take(scan) ? 1 : 0;
  EXPECT_EQ(allowed, 3 + 99);  // ten a second for ten seconds; the hundredth would be due at the very end
  EXPECT_TRUE(limit.take(std::uint64_t{1} << 60));  // a pause of any length fills no more than the burst
  EXPECT_TRUE(limit.take(std::uint64_t{1} << 60));
  EXPECT_TRUE(limit.take(std::uint64_t{1} << 60));
  EXPECT_FALSE(limit.take(std::uint64_t{1} << 60));
}

}  // namespace
}  // namespace firmware
