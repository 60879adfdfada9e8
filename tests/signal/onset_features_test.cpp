#include "kilter/signal/onset_features.h"

#include <gtest/gtest.h>

#include <cmath>

#include "support/byte_stores.h"

namespace kilter {
namespace {

std::vector<float> bursts(int seconds) {
  std::vector<float> x(static_cast<std::size_t>(seconds * kAnalysisRateHz), 0.0F);
  for (int s = 0; s < seconds; ++s)
    for (int i = 0; i < 1600; ++i)
      x[static_cast<std::size_t>(s * kAnalysisRateHz + 8000 + i)] =
          std::sin(0.4F * static_cast<float>(i));
  return x;
}

TEST(OnsetFeatures, RiseWhereSoundSetsInNotWhileItLastsNorInSilence) {
  const auto features = onset_features(MemorySignal(bursts(5)));
  ASSERT_TRUE(features);
  ASSERT_EQ(features->frames(), 500);
  const auto& band = features->bands[5];
  for (int s = 0; s < 5; ++s) {
    const auto at = static_cast<std::size_t>(s * 100 + 50);
    EXPECT_GT(std::max({band[at - 1], band[at], band[at + 1]}), 3 * kFeatureSteps);
    for (std::size_t i = at + 3; i < at + 8; ++i) EXPECT_LE(band[i], 0) << i;
    // The burst's sudden end, 10 frames on, is a click and may rise.
    for (std::size_t i = at + 13; i < std::min(at + 97, band.size()); ++i)
      EXPECT_LE(band[i], 0) << i;
  }
}

TEST(OnsetFeatures, DoNotChangeWithLevel) {
  auto quiet = bursts(3);
  for (float& v : quiet) v *= 0.001F;
  const auto a = onset_features(MemorySignal(bursts(3)));
  const auto b = onset_features(MemorySignal(quiet));
  ASSERT_TRUE(a && b);
  for (std::size_t i = 0; i < a->bands[3].size(); ++i)
    EXPECT_NEAR(a->bands[3][i], b->bands[3][i], 1);
}

TEST(OnsetFeatures, OfSilenceAreZero) {
  const auto features = onset_features(MemorySignal(std::vector<float>(16000, 0.0F)));
  ASSERT_TRUE(features);
  for (const auto& band : features->bands)
    for (const std::int8_t v : band) EXPECT_EQ(v, 0);
}

/// A short sound for so long that its features do not lie in memory while they are made.
class ForHours final : public AnalysisSignal {
 public:
  std::int64_t frames() const override { return 5300 * std::int64_t{kAnalysisRateHz} + 77; }
  Result<void> read(std::int64_t first, std::span<float> out) const override {
    for (std::size_t i = 0; i < out.size(); ++i) {
      const std::int64_t at = first + static_cast<std::int64_t>(i);
      // Louder and louder, so that no two stretches are alike.
      out[i] = at < 0 || at >= frames() ? 0.0F
                                        : sound_[static_cast<std::size_t>(at) % sound_.size()] *
                                              (1.0F + 1e-8F * static_cast<float>(at));
    }
    return {};
  }

 private:
  std::vector<float> sound_{bursts(7)};
};

TEST(OnsetFeatures, AreTheSameWhetherMadeInMemoryOrInAStore) {
  test::ByteStores stores;
  const auto in_memory = onset_features(ForHours());
  const auto in_a_store = onset_features(ForHours(), nullptr, stores.opener());
  ASSERT_TRUE(in_memory && in_a_store);
  EXPECT_EQ(stores.opened(), 1);
  EXPECT_TRUE(in_memory->bands == in_a_store->bands);
}

TEST(OnsetFeatures, OfShortSignalsNeedNoStore) {
  test::ByteStores stores;
  stores.fail_writes();
  EXPECT_TRUE(onset_features(MemorySignal(bursts(3)), nullptr, stores.opener()));
}

TEST(OnsetFeatures, TellWhatTheStoreFailedWith) {
  for (const ErrorKind kind : {ErrorKind::cannot_write, ErrorKind::unreadable}) {
    test::ByteStores stores;
    kind == ErrorKind::unreadable ? stores.fail_reads() : stores.fail_writes();
    const auto features = onset_features(ForHours(), nullptr, stores.opener());
    ASSERT_FALSE(features);
    EXPECT_EQ(features.error().kind, kind);
  }
}

}  // namespace
}  // namespace kilter
