// Finished stems against the truth and against the mix, measured by code that shares nothing with
// the estimator and the resampler.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <optional>

#include "run_kilter.h"
#include "simulator/session_files.h"
#include "simulator/simulator.h"
#include "simulator/sound_delay.h"
#include "stem_truth.h"
#include "support/temporary_folder.h"

namespace kilter {
namespace {

namespace fs = std::filesystem;

constexpr double kLimit_us = 20.0;
constexpr double kPiece_s = 1.0;  // the slow reference works on every tap

struct StemCase {
  const char* name;
  simulator::Coding mix;
};

class Stems : public testing::TestWithParam<StemCase> {
 protected:
  void SetUp() override {
    auto spec = simulator::hybrid_session(17, 110.0, 2, 1);
    spec.recorders[0].drift_ppm = 97.0;
    spec.recorders[1].drift_ppm = -88.0;
    spec.recorders[1].rate_hz = 44100.0;
    spec.mix.coding = GetParam().mix;
    auto made = simulator::simulate(spec, simulator::SyntheticVoices(17), 2);
    ASSERT_TRUE(made) << made.error().what;
    truth_ = *std::move(made);
    ASSERT_TRUE(simulator::write_session(truth_, work_ / "show", {}));
    const auto told = test::run_kilter({"conform", (work_ / "show").string(), "--out",
                                        (work_ / "done").string(), "--bits", "32f"});
    ASSERT_EQ(told.exit, 0) << told.out << told.err;
    for (const auto& track : truth_.tracks)
      stems_.push_back(test::read_all(work_ / "done" / "stems" / (track.name + ".wav")));
  }

  /// The longest stretch in `from_s`..`to_s` in which `person` alone talks.
  std::optional<std::pair<double, double>> solo(int person, double from_s, double to_s) const {
    std::optional<std::pair<double, double>> best;
    for (const auto& own : truth_.talk) {
      if (own.person != person) continue;
      double begin_s = std::max(own.line_from_s, from_s);
      double end_s = std::min(own.line_from_s + own.length_s, to_s);
      for (const auto& other : truth_.talk) {
        if (other.person == person) continue;
        const double other_end_s = other.line_from_s + other.length_s + 0.5;  // its echo dies away
        if (other_end_s <= begin_s || other.line_from_s >= end_s) continue;
        if (other.line_from_s - begin_s > end_s - other_end_s)
          end_s = other.line_from_s;
        else
          begin_s = other_end_s;
      }
      if (end_s - begin_s > 1.0 && (!best || end_s - begin_s > best->second - best->first))
        best = {begin_s, end_s};
    }
    return best;
  }

  test::TemporaryFolder work_;
  simulator::Session truth_;
  std::vector<std::vector<float>> stems_;
};

TEST_P(Stems, HoldEveryFrameOfTheMixAndStandWhereTheTruthPutsThem) {
  for (std::size_t k = 0; k < stems_.size(); ++k) {
    const std::string& name = truth_.tracks[k].name;
    ASSERT_EQ(stems_[k].size(), truth_.mix.size()) << name;
    // The session's recordings cover the mix from 10 s at the latest.
    for (const double from_s : {12.0, 53.0, 110.0 - kPiece_s - 0.5}) {
      const auto expected = test::true_piece(truth_, k, from_s, kPiece_s);
      const double error_us =
          1e6 * simulator::mean_delay_s(
                    expected, test::piece(stems_[k], from_s, kPiece_s, truth_.mix_rate_hz),
                    truth_.mix_rate_hz);
      EXPECT_LT(std::abs(error_us), kLimit_us) << name << " at " << from_s;
      std::printf("  %-10s at %6.1f s: %+7.2f us off the truth\n", name.c_str(), from_s, error_us);
    }
  }
}

TEST_P(Stems, StandOnTheMixWhereOnePersonTalksAlone) {
  for (std::size_t k = 0; k < stems_.size(); ++k) {
    const std::string& name = truth_.tracks[k].name;
    int measured = 0;
    for (const auto& [from_s, to_s] : {std::pair{10.0, 43.0}, {43.0, 76.0}, {76.0, 109.0}}) {
      const auto alone = solo(static_cast<int>(k), from_s, to_s);
      if (!alone) continue;
      ++measured;
      const double length_s = alone->second - alone->first;
      const double error_us =
          1e6 * simulator::mean_delay_s(
                    test::piece(truth_.mix, alone->first, length_s, truth_.mix_rate_hz),
                    test::piece(stems_[k], alone->first, length_s, truth_.mix_rate_hz),
                    truth_.mix_rate_hz);
      EXPECT_LT(std::abs(error_us), kLimit_us) << name << " at " << alone->first;
      std::printf("  %-10s at %6.1f s: %+7.2f us off the mix\n", name.c_str(), alone->first,
                  error_us);
    }
    EXPECT_GE(measured, 2) << name << ": too little talk alone to measure";
  }
}

INSTANTIATE_TEST_SUITE_P(Mixes, Stems,
                         testing::Values(StemCase{"Lossless", {}},
                                         StemCase{"Mp3", {simulator::Codec::mp3, 128}}),
                         [](const auto& each) { return each.param.name; });

}  // namespace
}  // namespace kilter
