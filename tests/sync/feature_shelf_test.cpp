#include "feature_shelf.h"

#include <gtest/gtest.h>

#include "support/byte_stores.h"

namespace kilter::sync {
namespace {

constexpr std::int64_t kLittle = 1000;
constexpr std::int64_t kMuch = std::int64_t{1} << 30U;

/// Other values for every track, band and frame.
OnsetFeatures features_of(int track, int frames) {
  OnsetFeatures features;
  for (std::size_t b = 0; b < kFeatureBands; ++b)
    for (int i = 0; i < frames; ++i)
      features.bands[b].push_back(
          static_cast<std::int8_t>(7 * track + 31 * static_cast<int>(b) + i));
  return features;
}

void expect_kept(const OpenByteStore& open_store, std::int64_t bytes) {
  FeatureShelf shelf(3, bytes, open_store);
  ASSERT_TRUE(shelf.put(2, features_of(2, 500)));
  ASSERT_TRUE(shelf.put(0, features_of(0, 70)));
  ASSERT_TRUE(shelf.put(2, features_of(5, 900)));  // in place of the first
  for (int round = 0; round < 2; ++round) {
    const auto first = shelf.get(0);
    const auto nothing = shelf.get(1);
    const auto last = shelf.get(2);
    ASSERT_TRUE(first && nothing && last);
    EXPECT_EQ((*first)->bands, features_of(0, 70).bands);
    EXPECT_EQ((*nothing)->frames(), 0);
    EXPECT_EQ((*last)->bands, features_of(5, 900).bands);
  }
}

TEST(FeatureShelf, GivesBackWhatWasPutWhetherInMemoryOrInAStore) {
  test::ByteStores stores;
  expect_kept({}, kMuch);
  expect_kept(stores.opener(), kLittle);
  EXPECT_EQ(stores.opened(), 0);
  expect_kept(stores.opener(), kMuch);
  EXPECT_EQ(stores.opened(), 1);
}

TEST(FeatureShelf, HoldsNothingOfALongSessionThatNobodyHasInHand) {
  test::ByteStores stores;
  const OpenByteStore open_store = stores.opener();
  FeatureShelf shelf(1, kMuch, open_store);
  ASSERT_TRUE(shelf.put(0, features_of(0, 70)));
  std::weak_ptr<const OnsetFeatures> seen;
  {
    const auto features = shelf.get(0);
    ASSERT_TRUE(features);
    seen = *features;
  }
  EXPECT_TRUE(seen.expired());
}

TEST(FeatureShelf, TellsWhatTheStoreFailedWith) {
  test::ByteStores stores;
  const OpenByteStore open_store = stores.opener();
  FeatureShelf shelf(2, kMuch, open_store);
  ASSERT_TRUE(shelf.put(0, features_of(0, 70)));
  stores.fail_reads();
  const auto features = shelf.get(0);
  ASSERT_FALSE(features);
  EXPECT_EQ(features.error().kind, ErrorKind::unreadable);
  stores.fail_writes();
  const auto put = shelf.put(1, features_of(1, 70));
  ASSERT_FALSE(put);
  EXPECT_EQ(put.error().kind, ErrorKind::cannot_write);
}

TEST(FeatureShelf, TellsWhereNoStoreCanBeOpened) {
  test::ByteStores stores;
  stores.fail_writes();
  const OpenByteStore open_store = stores.opener();
  FeatureShelf shelf(1, kMuch, open_store);
  EXPECT_FALSE(shelf.put(0, features_of(0, 70)));
}

}  // namespace
}  // namespace kilter::sync
