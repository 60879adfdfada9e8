#include <gtest/gtest.h>

#include "kilter/sync/align.h"
#include "simulator/simulator.h"
#include "support/reduce.h"

namespace kilter::sync {
namespace {

struct Folder {
  std::vector<std::unique_ptr<MemorySignal>> signals;
  std::vector<TrackInput> files;

  void add(const std::vector<float>& samples, double rate_hz) {
    signals.push_back(test::reduce(samples, rate_hz));
    files.push_back(
        {"file", signals.back().get(), static_cast<double>(samples.size()) / rate_hz, false});
  }
};

/// All files of a session in one row, the mix at place `mix_at`.
Folder shuffle_in(const simulator::SessionSpec& spec, std::size_t mix_at) {
  auto made = simulator::simulate(spec, simulator::SyntheticVoices(spec.seed), 2);
  EXPECT_TRUE(made);
  Folder folder;
  for (std::size_t i = 0; i <= made->tracks.size(); ++i) {
    if (i == mix_at) folder.add(made->mix, made->mix_rate_hz);
    if (i < made->tracks.size()) folder.add(made->tracks[i].samples, made->tracks[i].clock.rate_hz);
  }
  return folder;
}

struct MixCase {
  const char* name;
  int room;
  int remote;
};
class FindMix : public testing::TestWithParam<MixCase> {};

TEST_P(FindMix, ChoosesTheFileInWhichTheOthersAreHeard) {
  for (const std::size_t mix_at : {std::size_t{0}, std::size_t{2}}) {
    const Folder folder =
        shuffle_in(simulator::hybrid_session(31, 90.0, GetParam().room, GetParam().remote), mix_at);
    AlignOptions options;
    options.threads = 2;
    const auto choice = find_mix(folder.files, options);
    ASSERT_TRUE(choice);
    EXPECT_EQ(choice->index, static_cast<int>(mix_at));
    EXPECT_EQ(choice->rival, -1);
    EXPECT_EQ(choice->heard_in_it, static_cast<int>(folder.files.size()) - 1);
  }
}

INSTANTIATE_TEST_SUITE_P(Sessions, FindMix,
                         testing::Values(MixCase{"TwoRoomOneRemote", 2, 1},
                                         MixCase{"ThreeRoomTwoRemote", 3, 2},
                                         MixCase{"ThreeRemote", 0, 3}),
                         [](const auto& each) { return each.param.name; });

/// A second mix at another level, or half of it.
struct RivalCase {
  const char* name;
  float gain;
  double part;
};
class FindMixBesideAnother : public testing::TestWithParam<RivalCase> {};

TEST_P(FindMixBesideAnother, ChoosesOneOfThemAndTellsOfARivalAsLong) {
  const auto spec = simulator::hybrid_session(34, 90.0, 2, 1);
  auto made = simulator::simulate(spec, simulator::SyntheticVoices(spec.seed), 2);
  ASSERT_TRUE(made);
  Folder folder = shuffle_in(spec, 1);
  std::vector<float> other(
      made->mix.begin(),
      made->mix.begin() +
          static_cast<std::ptrdiff_t>(GetParam().part * static_cast<double>(made->mix.size())));
  for (float& sample : other) sample *= GetParam().gain;
  folder.add(other, made->mix_rate_hz);
  const auto choice = find_mix(folder.files, {});
  ASSERT_TRUE(choice);
  const int last = static_cast<int>(folder.files.size()) - 1;
  if (GetParam().part == 1.0) {
    EXPECT_EQ(std::min(choice->index, choice->rival), 1);
    EXPECT_EQ(std::max(choice->index, choice->rival), last);
  } else {
    EXPECT_EQ(choice->index, 1);
  }
}

INSTANTIATE_TEST_SUITE_P(Rivals, FindMixBesideAnother,
                         testing::Values(RivalCase{"AsLoud", 1.0F, 1.0},
                                         RivalCase{"HalfAsLoud", 0.5F, 1.0},
                                         RivalCase{"HalfOfIt", 1.0F, 0.5}),
                         [](const auto& each) { return each.param.name; });

TEST(FindMix, OfMicrophonesInOneRoomIsNoneHoweverLoudTheyHearEachOther) {
  for (const double bleed_db : {-18.0, -5.0}) {
    auto spec = simulator::hybrid_session(32, 90.0, 3, 1);
    spec.room.bleed_low_db = bleed_db - 3.0;
    spec.room.bleed_high_db = bleed_db + 3.0;
    Folder folder = shuffle_in(spec, 9);  // nowhere
    const auto choice = find_mix(folder.files, {});
    ASSERT_TRUE(choice);
    EXPECT_EQ(choice->index, -1) << bleed_db;
  }
}

TEST(FindMix, OfMicrophonesThatHearEachOtherLoudlyIsTheirSum) {
  auto spec = simulator::hybrid_session(33, 90.0, 3, 1);
  spec.room.bleed_low_db = -8.0;
  spec.room.bleed_high_db = -2.0;
  const Folder folder = shuffle_in(spec, 1);
  const auto choice = find_mix(folder.files, {});
  ASSERT_TRUE(choice);
  EXPECT_EQ(choice->index, 1);
  EXPECT_EQ(choice->rival, -1);
}

TEST(FindMix, OfStrangersIsNone) {
  Folder folder;
  for (const std::uint64_t seed : {41U, 42U, 43U}) {
    auto one = shuffle_in(simulator::hybrid_session(seed, 60.0, 1, 0), 5);
    folder.signals.push_back(std::move(one.signals[0]));
    folder.files.push_back(one.files[0]);
    folder.files.back().signal = folder.signals.back().get();
  }
  const auto choice = find_mix(folder.files, {});
  ASSERT_TRUE(choice);
  EXPECT_EQ(choice->index, -1);
}

}  // namespace
}  // namespace kilter::sync
