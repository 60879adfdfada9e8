#include "joint_frames.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>

namespace kilter::sync {
namespace {

constexpr std::size_t kBins = 493;  // whole blocks, whole lanes and a rest
constexpr std::size_t kTracks = 3;
constexpr std::size_t kFrames = 21;

std::vector<BandSpectrum> noise(std::size_t count, std::uint32_t seed) {
  std::mt19937 random(seed);
  std::normal_distribution<float> normal;
  std::vector<BandSpectrum> spectra(count);
  for (BandSpectrum& spectrum : spectra) {
    spectrum.resize(kBins);
    for (std::size_t b = 0; b < kBins; ++b) {
      spectrum.re[b] = normal(random);
      spectrum.im[b] = normal(random);
    }
  }
  return spectra;
}

TEST(JointFit, GivesTheSameBitsFromManyFramesAtOnceAsFromOneAfterTheOther) {
  const auto tracks = noise(kFrames * kTracks, 1);
  const auto targets = noise(kFrames, 2);
  JointFit each(kBins);
  JointFit all(kBins);
  each.reset(kTracks);
  all.reset(kTracks);
  for (std::size_t f = 0; f < kFrames; ++f) each.add({&tracks[f * kTracks], kTracks}, targets[f]);
  all.add_all(tracks, targets);
  each.solve();
  all.solve();
  for (std::size_t i = 0; i < kTracks; ++i) {
    EXPECT_EQ(each.filter(i).re, all.filter(i).re);
    EXPECT_EQ(each.filter(i).im, all.filter(i).im);
    EXPECT_TRUE(std::equal(each.power(i).begin(), each.power(i).end(), all.power(i).begin()));
  }
}

}  // namespace
}  // namespace kilter::sync
