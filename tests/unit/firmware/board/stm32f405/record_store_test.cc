// SPDX-License-Identifier: Apache-2.0
// Records on a simulated flash that only clears bits, and that loses power or fails at any word.
#include "firmware/board/stm32f405/record_store.h"

#include <gtest/gtest.h>

#include <string>
#include <vector>

#include "firmware/board/stm32f405/chip_store.h"
#include "tests/unit/firmware/jig_fixture.h"

namespace firmware::chip {
namespace {

using testing::Random;

class SimulatedFlash : public FlashSectors {
 public:
  SimulatedFlash() {
    for (auto& sector : words) sector.assign(kSectorWords, kErasedWord);
  }
  std::uint32_t word(std::size_t sector, std::size_t index) const override { return words[sector][index]; }
  bool program(std::size_t sector, std::size_t index, std::uint32_t value) override {
    if (!powered()) return false;
    ++programmed;
    // The word at which power goes keeps some of the bits that were on their way.
    const std::uint32_t kept = operations_left == 0 ? random.next() : 0;
    words[sector][index] &= value | kept;
    return operations_left != 0 && words[sector][index] == value && !(failing == Place{sector, index});
  }
  bool erase(std::size_t sector) override {
    if (!powered()) return false;
    if (++erased == 2) second_erase_at = programmed - programmed_before;
    for (std::uint32_t& word : words[sector]) {
      if (operations_left != 0 || random.between(0, 1) == 0) word = kErasedWord;
    }
    return operations_left != 0;
  }

  struct Place {
    std::size_t sector = SIZE_MAX;
    std::size_t index = SIZE_MAX;
    bool operator==(const Place&) const = default;
  };

  std::vector<std::uint32_t> words[2];
  std::uint64_t operations_left = UINT64_MAX;  // until power is lost; that one is done by half
  Place failing;                               // a word that does not hold
  Random random{1};
  std::uint32_t programmed = 0;
  std::uint32_t erased = 0;
  std::uint64_t second_erase_at = 0;  // programmed words since the first record
  std::uint32_t programmed_before = 0;

 private:
  bool powered() { return operations_left != 0 && operations_left-- != 0; }
};

std::string read(const RecordStore& store, RecordKind kind) {
  std::string text(store.bytes(kind), 0);
  store.read(kind, std::as_writable_bytes(std::span(text)));
  return text;
}

Stored write(RecordStore& store, RecordKind kind, const std::string& text, bool may_erase = true) {
  return store.append(kind, std::as_bytes(std::span(text)), may_erase);
}

TEST(RecordStoreTest, KeepsTheLatestOfEachKindOverABoot) {
  SimulatedFlash flash;
  RecordStore store(flash);
  EXPECT_FALSE(store.load());
  EXPECT_EQ(write(store, RecordKind::kIdentity, "J-01"), Stored::kDone);
  EXPECT_EQ(write(store, RecordKind::kCalibration, "cal-1"), Stored::kDone);
  EXPECT_EQ(write(store, RecordKind::kCalibration, "cal-2, longer"), Stored::kDone);
  RecordStore after(flash);
  EXPECT_TRUE(after.load());
  EXPECT_EQ(read(after, RecordKind::kIdentity), "J-01");
  EXPECT_EQ(read(after, RecordKind::kCalibration), "cal-2, longer");
  EXPECT_EQ(read(after, RecordKind::kBoots), "");
}

TEST(RecordStoreTest, ErasesNothingUnlessItMay) {
  SimulatedFlash flash;
  RecordStore store(flash);
  EXPECT_EQ(write(store, RecordKind::kIdentity, "J-01", false), Stored::kEraseNeeded) << "nothing is formatted yet";
  EXPECT_EQ(flash.programmed + flash.erased, 0U);
  EXPECT_EQ(write(store, RecordKind::kIdentity, "J-01"), Stored::kDone);
  const std::uint32_t erased = flash.erased;
  int kept = 0;
  while (write(store, RecordKind::kBoots, std::to_string(kept), false) == Stored::kDone && kept < 10000) ++kept;
  EXPECT_GT(kept, 1000);
  EXPECT_EQ(flash.erased, erased);
  EXPECT_EQ(read(store, RecordKind::kIdentity), "J-01");
  EXPECT_EQ(write(store, RecordKind::kBoots, "after", true), Stored::kDone);
  EXPECT_EQ(flash.erased, erased + 1);
}

TEST(RecordStoreTest, RefusesWhatIsTooLong) {
  SimulatedFlash flash;
  RecordStore store(flash);
  EXPECT_EQ(write(store, RecordKind::kIdentity, std::string(kRecordBytesMax + 1, 'x')), Stored::kTooLong);
  EXPECT_EQ(write(store, RecordKind::kIdentity, std::string(kRecordBytesMax, 'x')), Stored::kDone);
}

TEST(RecordStoreTest, GoesOnInTheOtherSectorWhenOneIsFull) {
  SimulatedFlash flash;
  RecordStore store(flash);
  write(store, RecordKind::kIdentity, "J-01");
  for (int k = 0; k < 3000; ++k) {
    ASSERT_EQ(write(store, RecordKind::kBoots, std::to_string(k)), Stored::kDone);
    if (k % 500 != 0) continue;
    RecordStore after(flash);
    ASSERT_TRUE(after.load());
    EXPECT_EQ(read(after, RecordKind::kBoots), std::to_string(k));
    EXPECT_EQ(read(after, RecordKind::kIdentity), "J-01");
  }
  EXPECT_GE(flash.erased, 3U);
}

struct Written {
  std::string acknowledged;  // the last one
  std::string tried;         // the last one, whether or not
};

/// An identity, then so many calibrations that they move to the other sector, until power is lost after `operations`.
Written write_until(SimulatedFlash& flash, const std::string& identity, std::uint64_t operations) {
  RecordStore store(flash);
  EXPECT_EQ(write(store, RecordKind::kIdentity, identity), Stored::kDone);
  flash.operations_left = operations;
  flash.programmed_before = flash.programmed;
  Written written;
  for (int k = 0; flash.operations_left != 0 && k < 700; ++k) {
    written.tried = "calibration " + std::to_string(k);
    if (write(store, RecordKind::kCalibration, written.tried) == Stored::kDone) written.acknowledged = written.tried;
  }
  return written;
}

void check_after(SimulatedFlash& flash, const std::string& identity, const Written& written) {
  flash.operations_left = UINT64_MAX;
  RecordStore after(flash);
  ASSERT_TRUE(after.load());
  EXPECT_EQ(read(after, RecordKind::kIdentity), identity);
  const std::string found = read(after, RecordKind::kCalibration);
  EXPECT_TRUE(found == written.acknowledged || found == written.tried) << found << " after " << written.acknowledged;
  EXPECT_EQ(write(after, RecordKind::kCalibration, "after"), Stored::kDone);
  RecordStore last(flash);
  ASSERT_TRUE(last.load());
  EXPECT_EQ(read(last, RecordKind::kCalibration), "after");
  EXPECT_EQ(read(last, RecordKind::kIdentity), identity);
}

/// Power lost at any operation: every record read afterwards is the last one acknowledged, or the one being written.
/// Every single operation of the move to the other sector is tried, and every 13th of the others.
TEST(RecordStoreTest, LosesNothingAcknowledgedWhereverPowerGoes) {
  const std::string identity(700, 'i');
  SimulatedFlash whole;
  write_until(whole, identity, UINT64_MAX);
  ASSERT_EQ(whole.erased, 2U) << "the series must move once";
  const std::uint64_t move = whole.second_erase_at;
  const std::uint64_t moved = move + 200;  // two words of head, 177 of identity, 5 of calibration, the mark
  for (std::uint64_t cut = 0; cut < moved + 300; cut += cut + 20 < move || cut > moved ? 13 : 1) {
    SimulatedFlash flash;
    flash.random = Random(cut + 1);
    const Written written = write_until(flash, identity, cut);
    check_after(flash, identity, written);
    ASSERT_FALSE(HasFailure()) << "cut at operation " << cut;
  }
}

TEST(RecordStoreTest, TellsAFailedWordAndWritesElsewhereNextTime) {
  SimulatedFlash flash;
  RecordStore store(flash);
  write(store, RecordKind::kCalibration, "old");
  flash.failing = {0, 9};
  EXPECT_EQ(write(store, RecordKind::kCalibration, "new and long enough to reach it"), Stored::kFailed);
  EXPECT_EQ(read(store, RecordKind::kCalibration), "old");
  EXPECT_EQ(write(store, RecordKind::kCalibration, "newer"), Stored::kDone);
  RecordStore after(flash);
  ASSERT_TRUE(after.load());
  EXPECT_EQ(read(after, RecordKind::kCalibration), "newer");
}

TEST(RecordStoreTest, ReadsNothingOutOfNoise) {
  for (std::uint64_t seed = 1; seed <= 200; ++seed) {
    SimulatedFlash flash;
    Random random(seed);
    for (auto& sector : flash.words) {
      for (std::uint32_t& word : sector) word = random.next();
    }
    RecordStore store(flash);
    EXPECT_FALSE(store.load());
    EXPECT_EQ(store.bytes(RecordKind::kIdentity), 0U);
    EXPECT_EQ(write(store, RecordKind::kIdentity, "J-01"), Stored::kDone);
    EXPECT_EQ(read(store, RecordKind::kIdentity), "J-01");
  }
}

TEST(ChipStoreTest, CountsBootsAndReadsWhoItIs) {
  SimulatedFlash flash;
  for (std::uint32_t boot = 1; boot <= 5; ++boot) {
    RecordStore records(flash);
    ChipStore store(records, "test", 1);
    store.begin();
    EXPECT_EQ(store.boot_count(), boot);
    EXPECT_TRUE(store.boot_counted());
    EXPECT_EQ(store.identity().jig_id, "unnamed");
    EXPECT_EQ(store.identity().channel_names[0], "main-12v");
    EXPECT_FALSE(store.identity().simulated);
  }
  IdentityRecord identity{.jig_id = {"J-07"}, .line_channels = {0, 1, 2, 3, 4}};
  identity.channel_names[23] = {"spare"};
  RecordStore records(flash);
  records.load();
  records.append(RecordKind::kIdentity, std::as_bytes(std::span(&identity, 1)), true);
  ChipStore store(records, "test", 3);
  store.begin();
  const std::string content(kCalibrationBytesMax, 'c');
  EXPECT_EQ(store.store_calibration("bench B2", std::as_bytes(std::span(content)), false), Stored::kDone);
  const std::string longer(kCalibrationBytesMax + 1, 'c');
  EXPECT_EQ(store.store_calibration("bench B3", std::as_bytes(std::span(longer)), true), Stored::kTooLong);
  EXPECT_EQ(store.boot_count(), 6U);
  EXPECT_EQ(store.identity().jig_id, "J-07");
  EXPECT_EQ(store.identity().calibration_id, "bench B2");
  EXPECT_EQ(store.identity().channel_names[23], "spare");
  EXPECT_EQ(store.identity().line_channels[4], 4);
  EXPECT_EQ(store.reset_cause(), 3U);

  ChipStore next(records, "test", 3);
  next.begin();
  EXPECT_EQ(next.identity().calibration_id, "bench B2");
  std::string kept(2000, ' ');
  kept.resize(next.read_calibration(std::as_writable_bytes(std::span(kept))));
  EXPECT_EQ(kept, content);
  Identity renamed = next.identity();
  renamed.jig_id = "J-08";
  EXPECT_EQ(next.store_identity(renamed, false), Stored::kDone);
  EXPECT_EQ(next.identity().jig_id, "J-08");
  EXPECT_EQ(next.identity().calibration_id, "bench B2");
}

class NotedRest : public StandStill {
 public:
  void stand_still(bool begins) override { told += begins ? '(' : ')'; }
  std::string told;
};

TEST(ChipStoreTest, TellsTheBoardBeforeItMayStandStill) {
  SimulatedFlash flash;
  RecordStore records(flash);
  NotedRest rest;
  ChipStore store(records, "test", 1, &rest);
  store.begin();
  const std::string content = "c";
  store.store_calibration("a", std::as_bytes(std::span(content)), false);
  EXPECT_EQ(rest.told, "");
  store.store_calibration("a", std::as_bytes(std::span(content)), true);
  EXPECT_EQ(rest.told, "()");
}

TEST(ChipStoreTest, RunsWithAFlashThatFails) {
  SimulatedFlash flash;
  flash.operations_left = 0;
  RecordStore records(flash);
  ChipStore store(records, "test", 1);
  store.begin();
  EXPECT_EQ(store.boot_count(), 1U);
  EXPECT_FALSE(store.boot_counted());
}

}  // namespace
}  // namespace firmware::chip
