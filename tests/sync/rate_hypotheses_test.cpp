#include "kilter/sync/rate_hypotheses.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "simulator/simulator.h"
#include "support/reduce.h"

namespace kilter::sync {
namespace {

constexpr double kLength_s = 120.0;

/// A keeper in the room and a guest; all recorders at one rate.
struct Talk {
  simulator::Session sound;
  OnsetFeatures mix;
};

Talk talk(std::uint64_t seed, double rate_hz) {
  auto spec = simulator::hybrid_session(seed, kLength_s, 1, 1);
  for (auto& recorder : spec.recorders) recorder.rate_hz = rate_hz;
  auto made = simulator::simulate(spec, simulator::SyntheticVoices(seed), 2);
  EXPECT_TRUE(made);
  Talk result{*std::move(made), {}};
  auto features = onset_features(*test::reduce(result.sound.mix, result.sound.mix_rate_hz));
  EXPECT_TRUE(features);
  result.mix = *std::move(features);
  return result;
}

RateVerdict judge(const OnsetFeatures& mix, const AnalysisSignal& signal, double header_rate_hz) {
  const auto features = onset_features(signal);
  EXPECT_TRUE(features);
  auto verdict = find_rate(mix, signal, *features, header_rate_hz, first_map(mix, *features));
  EXPECT_TRUE(verdict);
  return *std::move(verdict);
}

double best_match(const RateVerdict& verdict) {
  double best = 0.0;
  for (const RateTrial& trial : verdict.trials) best = std::max(best, trial.match_sigma);
  return best;
}

// Of four minutes and all 90 pairs of rates, the true one matched with 121 sigma, 60 where 8 kHz
// sound under a header of 96 kHz leaves the band below 700 Hz alone; no other beyond 10.
struct HeaderCase {
  const char* name;
  double true_hz;
  double header_hz;
  double ratio;
};
class WrongHeader : public testing::TestWithParam<HeaderCase> {};

TEST_P(WrongHeader, IsFoundWithItsExactRatioAndAnUsableMap) {
  const auto& [name, true_hz, header_hz, ratio] = GetParam();
  const Talk session = talk(77, true_hz);
  const simulator::SimulatedTrack& track = session.sound.tracks[1];
  const auto signal = test::reduce(track.samples, header_hz);
  const RateVerdict verdict = judge(session.mix, *signal, header_hz);
  EXPECT_DOUBLE_EQ(verdict.ratio, ratio);
  EXPECT_DOUBLE_EQ(verdict.true_rate_hz, ratio * header_hz);
  EXPECT_GT(verdict.map.match_sigma, 40.0);
  EXPECT_NEAR(static_cast<double>(verdict.features.frames()),
              static_cast<double>(signal->frames()) / ratio / 160.0, 1.0);
  // A first map is good to 5 ms, and the next stage searches 50.
  for (const double true_s : {20.0, 60.0, 110.0})
    EXPECT_NEAR(verdict.map.to_reference_s(true_s), track.line_of(true_s), 0.010);
}

INSTANTIATE_TEST_SUITE_P(
    Pairs, WrongHeader,
    testing::Values(HeaderCase{"TheUsualOne", 48000, 44100, 48000.0 / 44100.0},
                    HeaderCase{"TheOtherWayRound", 44100, 48000, 44100.0 / 48000.0},
                    HeaderCase{"Doubled", 48000, 96000, 0.5}, HeaderCase{"Halved", 32000, 16000, 2},
                    HeaderCase{"Telephone", 8000, 11025, 8000.0 / 11025.0},
                    HeaderCase{"TwelveTimes", 96000, 8000, 12.0},
                    HeaderCase{"PulledUp", 48000, 47952, 48000.0 / 47952.0},
                    HeaderCase{"PulledDown", 48000, 48048, 48000.0 / 48048.0},
                    HeaderCase{"PulledUnderAThirdRate", 48048, 44100, 48048.0 / 44100.0}),
    [](const auto& each) { return each.param.name; });

// Five people in two minutes: what one of them says is over before 0.1 % tells.
TEST(RateHypotheses, PreferARateToItsPullWhereTheTalkIsTooShortToTellThem) {
  auto spec = simulator::hybrid_session(5, kLength_s, 3, 2);
  spec.recorders[static_cast<std::size_t>(spec.people[3].recorder)].rate_hz = 44100.0;
  const auto sound = simulator::simulate(spec, simulator::SyntheticVoices(spec.seed), 2);
  ASSERT_TRUE(sound);
  const auto mix = onset_features(*test::reduce(sound->mix, sound->mix_rate_hz));
  ASSERT_TRUE(mix);
  const RateVerdict verdict =
      judge(*mix, *test::reduce(sound->tracks[3].samples, 48000.0), 48000.0);
  EXPECT_EQ(verdict.ratio, 44100.0 / 48000.0);
}

TEST(RateHypotheses, CostATrackThatLiesWhereItsHeaderSaysNothing) {
  const Talk session = talk(78, 48000.0);
  for (const auto& track : session.sound.tracks) {
    const RateVerdict verdict = judge(session.mix, *test::reduce(track.samples, 48000.0), 48000.0);
    EXPECT_EQ(verdict.ratio, 1.0);
    EXPECT_EQ(verdict.true_rate_hz, 48000.0);
    EXPECT_TRUE(verdict.trials.empty());
  }
}

// Two recordings of one clock that a fault has put on two lines are no case for another rate.
TEST(RateHypotheses, LeaveATrackWithASeamAtItsRate) {
  const Talk session = talk(78, 48000.0);
  for (const auto& track : session.sound.tracks) {
    std::vector<float> cut = track.samples;
    cut.erase(cut.begin() + 60 * 48000, cut.begin() + 63 * 48000);
    const RateVerdict verdict = judge(session.mix, *test::reduce(cut, 48000.0), 48000.0);
    EXPECT_EQ(verdict.ratio, 1.0) << track.name;
  }
}

// Within a minute votes cannot lie far enough apart to exclude a pull; but no other rate matches.
TEST(RateHypotheses, TryPulledRatesAloneWhereAShortTalkMatchesClearlyAsHeaded) {
  auto spec = simulator::hybrid_session(5, 60.0, 3, 1);
  for (auto& recorder : spec.recorders) recorder.rate_hz = 48000.0;
  const auto sound = simulator::simulate(spec, simulator::SyntheticVoices(spec.seed), 2);
  ASSERT_TRUE(sound);
  const auto mix = onset_features(*test::reduce(sound->mix, sound->mix_rate_hz));
  ASSERT_TRUE(mix);
  for (const auto& track : sound->tracks) {
    const RateVerdict verdict = judge(*mix, *test::reduce(track.samples, 48000.0), 48000.0);
    EXPECT_EQ(verdict.ratio, 1.0);
    EXPECT_FALSE(verdict.trials.empty());
    for (const RateTrial& trial : verdict.trials) EXPECT_NEAR(trial.ratio, 1.0, 0.0025);
  }
}

TEST(RateHypotheses, FindNoRateForAForeignTrack) {
  const Talk session = talk(79, 48000.0);
  double header_hz = 48000.0;
  for (std::uint64_t seed = 200; seed < 202; ++seed)
    for (const auto& track : talk(seed, 48000.0).sound.tracks) {
      const RateVerdict verdict =
          judge(session.mix, *test::reduce(track.samples, header_hz), header_hz);
      EXPECT_EQ(verdict.ratio, 1.0);
      EXPECT_GE(verdict.trials.size(), 11U);
      EXPECT_LT(best_match(verdict), 12.0);  // 20 would be needed
      header_hz = header_hz == 48000.0 ? 44100.0 : 48000.0;
    }
}

TEST(RateHypotheses, TryThoseOfNearlyEqualRatioOnce) {
  const Talk session = talk(79, 48000.0);
  const Talk other = talk(200, 48000.0);
  // 44.1 kHz is what 44.056 kHz becomes when pulled up.
  const RateVerdict verdict =
      judge(session.mix, *test::reduce(other.sound.tracks[0].samples, 44056.0), 44056.0);
  int alike = 0;
  for (const RateTrial& trial : verdict.trials)
    if (std::abs(trial.ratio - 1.001) < 1e-4) ++alike;
  EXPECT_EQ(alike, 1);
}

TEST(RateHypotheses, LeaveSilenceAlone) {
  const Talk session = talk(79, 48000.0);
  const MemorySignal silence(std::vector<float>(1600000, 0.0F));
  EXPECT_EQ(judge(session.mix, silence, 48000.0).ratio, 1.0);
  const MemorySignal empty(std::vector<float>{});
  EXPECT_EQ(judge(session.mix, empty, 48000.0).ratio, 1.0);
}

TEST(RateHypotheses, StopWhenAsked) {
  const Talk session = talk(79, 48000.0);
  const auto signal = test::reduce(session.sound.tracks[0].samples, 44100.0);
  const auto features = onset_features(*signal);
  ASSERT_TRUE(features);
  const std::atomic<bool> stop{true};
  const auto verdict =
      find_rate(session.mix, *signal, *features, 44100.0, FirstMap{}, {.stop = &stop});
  ASSERT_FALSE(verdict);
  EXPECT_EQ(verdict.error().kind, ErrorKind::interrupted);
}

}  // namespace
}  // namespace kilter::sync
