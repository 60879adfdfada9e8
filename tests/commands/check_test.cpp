// Finished stems held against their mix: whole ones pass, and damage is found with its place.
#include <gtest/gtest.h>
#include <sndfile.h>

#include <cmath>
#include <filesystem>
#include <functional>
#include <nlohmann/json.hpp>

#include "kilter/base/time_map.h"
#include "kilter/signal/resampler.h"
#include "media/read_whole.h"
#include "run_kilter.h"
#include "simulator/session_files.h"
#include "simulator/simulator.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::json;
using test::Samples;

constexpr int kRateHz = 48000;
constexpr double kLength_s = 150.0;

/// Conformed once for all tests; each damages a copy.
struct Conformed {
  test::TemporaryFolder work;
  bool ready{false};

  Conformed() {
    auto spec = simulator::hybrid_session(21, kLength_s, 2, 1);
    for (auto& recorder : spec.recorders) recorder.start_s = -2.0;
    const auto made = simulator::simulate(spec, simulator::SyntheticVoices(21), 2);
    ready =
        made && simulator::write_session(*made, work / "show", {}) &&
        test::run_kilter({"conform", (work / "show").string(), "--out", (work / "done").string()})
                .exit == 0;
  }
};

class Check : public testing::Test {
 protected:
  void SetUp() override {
    static const Conformed conformed;
    ASSERT_TRUE(conformed.ready);
    show_ = conformed.work / "show";
    fs::copy(conformed.work / "done", done(), fs::copy_options::recursive);
  }
  fs::path done() const { return work_ / "done"; }
  fs::path stem(const std::string& name) const { return done() / "stems" / (name + ".wav"); }

  Samples samples_of(const std::string& name) const {
    const auto whole = media::read_whole(stem(name));
    EXPECT_TRUE(whole);
    return whole ? whole->channels.front() : Samples{};
  }
  void put(const std::string& name, const Samples& samples, int rate_hz = kRateHz) const {
    test::write_sound(stem(name), {samples}, rate_hz);
  }
  /// The stem as it is later by `late_s(t)`, which is constant or slopes slowly.
  void bend(const std::string& name, std::vector<Span> spans) const {
    const Samples source = samples_of(name);
    std::size_t at = 0;
    MapResampler resampler(*TimeMap::make(std::move(spans)), {kRateHz}, {kRateHz}, 0.0,
                           [&](std::span<float> out) -> Result<std::int64_t> {
                             const std::size_t count = std::min(out.size(), source.size() - at);
                             std::copy_n(source.begin() + static_cast<std::ptrdiff_t>(at), count,
                                         out.begin());
                             at += count;
                             return static_cast<std::int64_t>(count);
                           });
    Samples bent(source.size());
    ASSERT_TRUE(resampler.read(bent));
    put(name, bent);
  }

  /// What the stem says from one second to another comes so many frames later.
  void slip(const std::string& name, double from_s, double to_s, int frames) const {
    const Samples whole = samples_of(name);
    Samples slipped = whole;
    const auto at = [&](double s) { return whole.begin() + std::llround(s * kRateHz); };
    const auto end = std::min(at(to_s), whole.end() - std::max(frames, 0));
    std::copy(at(from_s), end, slipped.begin() + std::llround(from_s * kRateHz) + frames);
    put(name, slipped);
  }
  void silence(const std::string& name, double from_s, double to_s) const {
    Samples samples = samples_of(name);
    std::fill(samples.begin() + std::llround(from_s * kRateHz),
              samples.begin() + std::llround(to_s * kRateHz), 0.0F);
    put(name, samples);
  }

  Json check(int exit, const std::vector<std::string>& more = {}) const {
    std::vector<std::string> args{"check", done().string(), "--json"};
    args.insert(args.end(), more.begin(), more.end());
    const test::Told told = test::run_kilter(args);
    EXPECT_EQ(told.exit, exit) << told.out << told.err;
    EXPECT_EQ(told.err, "");
    return Json::parse(told.out);
  }
  static Json row(const Json& report, const std::string& name) {
    for (const Json& each : report.at("stems"))
      if (each.at("name") == name) return each;
    ADD_FAILURE() << "no stem " << name;
    return {};
  }
  static bool tells(const Json& stem, const std::string& code) {
    return std::any_of(stem.at("findings").begin(), stem.at("findings").end(),
                       [&](const Json& finding) { return finding.at("code") == code; });
  }

  test::TemporaryFolder work_;
  fs::path show_;
};

TEST_F(Check, PassesStemsAsTheyWereConformed) {
  const Json report = check(0);
  EXPECT_EQ(report.at("stems").size(), 3U);
  for (const Json& each : report.at("stems")) {
    EXPECT_EQ(each.at("verdict"), "within") << each;
    EXPECT_LT(std::abs(each.at("worst_s").get<double>()), 20e-6);
    EXPECT_EQ(each.at("minutes").size(), 3U);
  }
  EXPECT_LT(report.at("null_db").get<double>(), -20.0);
  EXPECT_EQ(report.at("null_db_by_minute").size(), 3U);
}

TEST_F(Check, TellsATrackThatIsNamedLikeTheMixFromTheMix) {
  fs::copy(show_, work_ / "show");
  test::write_text(work_ / "show" / "session.toml",
                   "mix = \"mixdown.wav\"\n[[track]]\nname = \"mixdown\"\n"
                   "parts = [\"keeper.wav\"]\n");
  fs::remove_all(done());
  ASSERT_EQ(test::run_kilter({"conform", (work_ / "show").string(), "--out", done().string()}).exit,
            0);
  const Json report = check(0);
  EXPECT_EQ(report.at("mix"), "mixdown.wav");
  EXPECT_EQ(report.at("stems").size(), 3U);
  EXPECT_EQ(row(report, "mixdown-2").at("verdict"), "within");
  // The mix itself under that name is none the less no stem.
  fs::copy(stem("mixdown"), stem("mixdown-2"), fs::copy_options::overwrite_existing);
  EXPECT_TRUE(tells(row(check(1), "mixdown-2"), "missing-stem"));
}

TEST_F(Check, FindsAStemThatIsShifted) {
  bend("keeper", {{0.0, kLength_s - 1.0, 1.2e-3, kLength_s - 1.0 + 1.2e-3, 0.0}});
  const Json keeper = row(check(1), "keeper");
  EXPECT_EQ(keeper.at("verdict"), "beyond");
  EXPECT_NEAR(keeper.at("worst_s").get<double>(), 1.2e-3, 30e-6);
}

TEST_F(Check, FindsAShiftOfSeconds) {
  bend("keeper", {{0.0, kLength_s - 5.0, 4.0, kLength_s - 1.0, 0.0}});
  const Json keeper = row(check(1), "keeper");
  EXPECT_EQ(keeper.at("verdict"), "beyond") << keeper;
  EXPECT_NEAR(keeper.at("worst_s").get<double>(), 4.0, 0.02);
}

TEST_F(Check, TellsASlopeThatIsWithinTheLimitAndFailsItBeyond) {
  bend("keeper", {{0.0, kLength_s - 1.0, 0.0, kLength_s - 1.0 + 0.4e-3, 0.0}});
  const Json within = row(check(0), "keeper");
  EXPECT_EQ(within.at("verdict"), "within");
  EXPECT_TRUE(tells(within, "slope")) << within;
  EXPECT_NEAR(within.at("slope_ppm").get<double>(), 0.4e-3 / (kLength_s - 1.0) * 1e6, 0.3);
  EXPECT_EQ(row(check(1, {"--limit-ms", "0.3"}), "keeper").at("verdict"), "beyond");
}

TEST_F(Check, FindsAStretchThatSlipped) {
  bend("keeper", {{0.0, 50.0, 0.0, 50.0, 0.0},
                  {50.0, 100.0, 50.005, 100.005, 0.0},
                  {100.005, kLength_s - 1.0, 100.005, kLength_s - 1.0, 0.0}});
  const Json keeper = row(check(1), "keeper");
  EXPECT_EQ(keeper.at("verdict"), "beyond");
  EXPECT_NEAR(keeper.at("worst_s").get<double>(), 5e-3, 0.1e-3);
  EXPECT_GT(keeper.at("worst_at_s").get<double>(), 48.0);
  EXPECT_LT(keeper.at("worst_at_s").get<double>(), 102.0);
}

TEST_F(Check, FindsAStretchThatSlippedOutOfReach) {
  bend("keeper", {{0.0, 50.0, 0.0, 50.0, 0.0},
                  {50.0, 100.0, 50.4, 100.4, 0.0},
                  {100.4, kLength_s - 1.0, 100.4, kLength_s - 1.0, 0.0}});
  const Json keeper = row(check(1), "keeper");
  EXPECT_EQ(keeper.at("verdict"), "beyond") << keeper;
  EXPECT_NEAR(keeper.at("worst_s").get<double>(), 0.4, 0.02);
}

TEST_F(Check, FindsAStemThatIsUpsideDown) {
  Samples samples = samples_of("keeper");
  for (float& sample : samples) sample = -sample;
  put("keeper", samples);
  const Json keeper = row(check(1), "keeper");
  EXPECT_EQ(keeper.at("verdict"), "beyond");
  EXPECT_TRUE(tells(keeper, "inverted"));
}

TEST_F(Check, PassesNoSilenceUnlessAllowed) {
  put("keeper", Samples(samples_of("keeper").size(), 0.0F));
  const Json keeper = row(check(1), "keeper");
  EXPECT_EQ(keeper.at("verdict"), "no evidence");
  EXPECT_TRUE(keeper.at("worst_s").is_null());
  check(0, {"--allow-silent"});
}

TEST_F(Check, LetsNoStrangerPassAsSilence) {
  put("keeper", test::noise(samples_of("keeper").size(), 0.1F, 5));
  EXPECT_EQ(row(check(1, {"--allow-silent"}), "keeper").at("verdict"), "no evidence");
}

TEST_F(Check, FailsAStemThatBreaksOff) {
  fs::resize_file(stem("pilot"), fs::file_size(stem("pilot")) * 6 / 10);
  const Json pilot = row(check(1), "pilot");
  EXPECT_EQ(pilot.at("verdict"), "within");  // as far as it goes
  EXPECT_TRUE(tells(pilot, "truncated"));
}

TEST_F(Check, FailsStemsWhoseMixBreaksOffForTheRestIsNotMeasured) {
  fs::resize_file(stem("mixdown"), fs::file_size(stem("mixdown")) * 6 / 10);
  fs::remove(done() / "lineup.json");
  const std::string junit = (work_ / "check.xml").string();
  const Json report = check(1, {"--mix", stem("mixdown").string(), "--junit", junit});
  EXPECT_TRUE(tells(report, "truncated"));
  EXPECT_EQ(row(report, "keeper").at("verdict"), "within");  // as far as it goes
  const std::string xml = test::read_text(junit);
  EXPECT_NE(xml.find("tests=\"4\" failures=\"1\""), std::string::npos) << xml;
  EXPECT_NE(xml.find("<failure type=\"truncated\" message=\"The mix: Breaks off at"),
            std::string::npos)
      << xml;
}

TEST_F(Check, FailsAStemThatItsNameCallsAMixForItIsNotMeasured) {
  fs::remove(done() / "lineup.json");
  fs::rename(stem("pilot"), stem("pilot bounce"));
  const Json report = check(1, {"--mix", stem("mixdown").string(), "--allow-silent"});
  EXPECT_EQ(row(report, "pilot bounce").at("verdict"), "no evidence");
  EXPECT_TRUE(tells(row(report, "pilot bounce"), "called-mix"));
  for (const char* name : {"keeper", "mate"})
    fs::rename(stem(name), stem(std::string(name) + " mix"));
  const auto told =
      test::run_kilter({"check", (done() / "stems").string(), "--mix", stem("mixdown").string()});
  EXPECT_EQ(told.exit, 3);
  EXPECT_NE(told.err.find("is called a mix by its name"), std::string::npos) << told.err;
}

TEST_F(Check, TellsOnceThatAllStemsAreUpsideDown) {
  for (const char* name : {"keeper", "mate", "pilot"}) {
    Samples samples = samples_of(name);
    for (float& sample : samples) sample = -sample;
    put(name, samples);
  }
  const Json report = check(1);
  EXPECT_TRUE(tells(report, "all-inverted"));
  EXPECT_FALSE(tells(report, "all-misaligned"));
}

TEST_F(Check, TellsOfAStemThatEndsBeforeTheMixWhereNoLineupSaysHowLongItWas) {
  fs::remove(done() / "lineup.json");
  Samples samples = samples_of("pilot");
  samples.resize(samples.size() * 7 / 10);
  put("pilot", samples);
  EXPECT_TRUE(tells(row(check(0, {"--mix", stem("mixdown").string()}), "pilot"), "ends-early"));
}

TEST_F(Check, FailsAFolderThatIsNotWhole) {
  const Samples whole = samples_of("keeper");
  fs::remove(stem("keeper"));
  EXPECT_TRUE(tells(row(check(1), "keeper"), "missing-stem"));
  put("keeper", Samples(whole.begin(), whole.begin() + kRateHz * 60));
  EXPECT_TRUE(tells(row(check(1), "keeper"), "unequal-length"));
}

/// All that is said of a stem.
std::string words_of(const Json& stem) {
  std::string words;
  for (const Json& finding : stem.at("findings"))
    words += finding.at("text").get<std::string>() + '\n';
  return words;
}

TEST_F(Check, AsksToMendAHeaderWhereThatIsWhatIsWrong) {
  put("pilot", samples_of("pilot"), 44100);
  const Json pilot = row(check(1), "pilot");
  EXPECT_EQ(pilot.at("verdict"), "beyond") << pilot;
  const std::string words = words_of(pilot);
  EXPECT_NE(words.find("made at 48000 Hz"), std::string::npos) << words;
  EXPECT_NE(words.find("It has as many samples as the mix beside it"), std::string::npos) << words;
  EXPECT_EQ(words.find("Conform"), std::string::npos) << words;
  EXPECT_FALSE(tells(pilot, "unheard"));
}

TEST_F(Check, FindsStemsThatHaveChangedTheirNames) {
  fs::rename(stem("keeper"), work_ / "aside.wav");
  fs::rename(stem("mate"), stem("keeper"));
  fs::rename(work_ / "aside.wav", stem("mate"));
  const Json told = check(1);
  EXPECT_TRUE(tells(row(told, "keeper"), "swapped"));
  EXPECT_TRUE(tells(row(told, "mate"), "swapped"));
  EXPECT_FALSE(tells(row(told, "pilot"), "swapped"));
  EXPECT_EQ(row(told, "keeper").at("verdict"), "within") << "the mix knows no names";
}

TEST_F(Check, FailsAStemThatWasEmptiedWhereItsPersonTalks) {
  Samples half = samples_of("pilot");
  std::fill(half.begin() + std::ssize(half) / 2, half.end(), 0.0F);
  put("pilot", half);
  const Json told = check(1);
  EXPECT_EQ(row(told, "pilot").at("verdict"), "within");  // as far as it goes
  EXPECT_TRUE(tells(row(told, "pilot"), "emptied"));
  EXPECT_FALSE(tells(row(told, "keeper"), "emptied"));
  // Nothing tells it without the lineup: somebody's recording may never have come.
  fs::remove(done() / "lineup.json");
  EXPECT_FALSE(tells(row(check(0), "pilot"), "emptied"));
}

TEST_F(Check, FindsAStretchThatIsUpsideDown) {
  Samples half = samples_of("mate");
  for (std::size_t i = 60 * kRateHz; i < 120 * kRateHz; ++i) half[i] = -half[i];
  put("mate", half);
  const Json mate = row(check(1), "mate");
  EXPECT_EQ(mate.at("verdict"), "beyond");
  ASSERT_TRUE(tells(mate, "inverted"));
  for (const Json& finding : mate.at("findings"))
    if (finding.at("code") == "inverted") {
      EXPECT_NEAR(finding.at("line_s").get<double>(), 63.0, 6.1);
    }
}

TEST_F(Check, AccusesNobodyOfWhatAMissingNeighbourSays) {
  fs::remove(stem("mate"));
  const Json told = check(1);
  EXPECT_TRUE(tells(row(told, "mate"), "missing-stem"));
  EXPECT_EQ(row(told, "keeper").at("verdict"), "within");
  EXPECT_EQ(row(told, "pilot").at("verdict"), "within");
}

TEST_F(Check, FailsAStemThatIsTheMix) {
  put("pilot", samples_of("mixdown"));
  EXPECT_TRUE(tells(row(check(1), "pilot"), "missing-stem"));
}

TEST_F(Check, SaysThatTheLineupBesideTheStemsCannotBeRead) {
  test::write_text(done() / "lineup.json", "{");
  fs::remove(stem("pilot"));
  EXPECT_TRUE(tells(check(1), "unreadable-lineup"));
}

TEST_F(Check, TakesStemsThatWereExportedInAnotherFormat) {
  test::write_sound(done() / "stems" / "keeper.flac", {samples_of("keeper")}, kRateHz,
                    SF_FORMAT_FLAC | SF_FORMAT_PCM_24);
  fs::remove(stem("keeper"));
  const Json told = check(0);
  EXPECT_EQ(told.at("stems").size(), 3U);
}

TEST_F(Check, TellsOnceWhatAllStemsShare) {
  for (const char* name : {"keeper", "mate", "pilot"}) {
    Samples late(kRateHz / 500, 0.0F);
    const Samples whole = samples_of(name);
    late.insert(late.end(), whole.begin(), whole.end() - kRateHz / 500);
    put(name, late);
  }
  const Json told = check(1);
  EXPECT_TRUE(tells(told, "all-misaligned"));
  EXPECT_FALSE(tells(row(told, "keeper"), "mend-first"));
}

TEST_F(Check, FindsAMicrophonesOwnTalkTwoSecondsOff) {
  const Samples whole = samples_of("keeper");
  Samples slipped = whole;  // from 40 s to 100 s, which is most of what it says
  std::copy(whole.begin() + 40 * kRateHz, whole.begin() + 100 * kRateHz,
            slipped.begin() + 42 * kRateHz);
  put("keeper", slipped);
  const Json told = check(1);
  EXPECT_EQ(row(told, "keeper").at("verdict"), "beyond");
  EXPECT_NEAR(row(told, "keeper").at("worst_s").get<double>(), 2.0, 2e-3);
  EXPECT_EQ(row(told, "mate").at("verdict"), "within");
}

TEST_F(Check, FindsTwentySecondsThatSlipped) {
  bend("keeper", {{0.0, 50.0, 0.0, 50.0, 0.0},
                  {50.006, 70.0, 50.0, 69.994, 0.0},
                  {70.0, kLength_s - 1.0, 70.0, kLength_s - 1.0, 0.0}});
  const Json keeper = row(check(1), "keeper");
  EXPECT_EQ(keeper.at("verdict"), "beyond") << keeper;
  EXPECT_NEAR(keeper.at("worst_s").get<double>(), -6e-3, 0.2e-3);
}

TEST_F(Check, BlamesNoNetworkForAMicrophoneThatNeighboursHear) {
  // Too short for two windows of six seconds that stand apart.
  bend("keeper", {{0.0, 60.0, 0.0, 60.0, 0.0},
                  {60.004, 72.0, 60.0, 71.996, 0.0},
                  {72.0, kLength_s - 1.0, 72.0, kLength_s - 1.0, 0.0}});
  const Json keeper = row(check(1), "keeper");
  EXPECT_EQ(keeper.at("verdict"), "beyond") << keeper;
}

TEST_F(Check, TellsADriftInOnePiece) {
  const double end_s = kLength_s - 1.0;
  bend("keeper", {{0.0, end_s, 0.0, end_s * (1.0 + 50e-6), 0.0}});
  const Json keeper = row(check(1), "keeper");
  EXPECT_EQ(keeper.at("verdict"), "beyond");
  EXPECT_NEAR(keeper.at("slope_ppm").get<double>(), 50.0, 1.0) << keeper;
  EXPECT_GT(keeper.at("worst_s").get<double>(), 5e-3) << keeper;
  const std::string words = words_of(keeper);
  EXPECT_NE(words.find("It drifts evenly, by "), std::string::npos) << words;
  EXPECT_NE(words.find(" ppm too slowly, "), std::string::npos) << words;
  EXPECT_EQ(words.find("in step"), std::string::npos) << words;
}

TEST_F(Check, DoesNotPassABoundWiderThanTheLimitAsSilence) {
  const Json pilot = row(check(1, {"--limit-ms", "0.005", "--allow-silent"}), "pilot");
  EXPECT_EQ(pilot.at("verdict"), "no evidence");
}

// Who talks when in the show: keeper 137.9 to 141.8 at last, mate to 2.8 at first and 46.1 to 52.6,
// pilot 61.2 to 64.6.
TEST_F(Check, FindsTheLastSentenceOfAStemThatSlipped) {
  slip("keeper", 137.7, kLength_s, 58);
  const Json keeper = row(check(1), "keeper");
  EXPECT_EQ(keeper.at("verdict"), "beyond") << keeper;
  EXPECT_NEAR(keeper.at("worst_s").get<double>(), 58.0 / kRateHz, 0.1e-3);
  EXPECT_NEAR(keeper.at("worst_at_s").get<double>(), 138.0, 0.5);
}

TEST_F(Check, FindsTheFirstSentenceOfAStemThatSlipped) {
  slip("mate", 0.01, 3.1, -240);
  const Json mate = row(check(1), "mate");
  EXPECT_EQ(mate.at("verdict"), "beyond") << mate;
  EXPECT_NEAR(mate.at("worst_s").get<double>(), -5e-3, 0.1e-3);
  EXPECT_LT(mate.at("worst_at_s").get<double>(), 3.1);
}

TEST_F(Check, FindsASentenceAmongOthersThatSlipped) {
  slip("mate", 45.9, 53.0, 96);
  const Json told = check(1);
  const Json mate = row(told, "mate");
  EXPECT_EQ(mate.at("verdict"), "beyond") << mate;
  EXPECT_NEAR(mate.at("worst_s").get<double>(), 2e-3, 0.1e-3);
  EXPECT_NEAR(mate.at("worst_at_s").get<double>(), 49.5, 3.6);
  EXPECT_EQ(row(told, "keeper").at("verdict"), "within");
}

TEST_F(Check, FindsASentenceThatSlippedByHalfASecond) {
  slip("keeper", 137.7, kLength_s, kRateHz / 2);
  const Json keeper = row(check(1), "keeper");
  EXPECT_EQ(keeper.at("verdict"), "beyond") << keeper;
  EXPECT_NEAR(keeper.at("worst_s").get<double>(), 0.5, 1e-3);
}

TEST_F(Check, BlamesNoNetworkForAGuestsSentenceThatWasNotThereWhenTheStemWasWritten) {
  slip("pilot", 61.13, 64.75, 96);
  const Json pilot = row(check(1), "pilot");
  EXPECT_EQ(pilot.at("verdict"), "beyond") << pilot;
  EXPECT_NEAR(pilot.at("worst_s").get<double>(), 2e-3, 0.1e-3);
  // Without the lineup it may be the network's, and is told.
  fs::remove(done() / "lineup.json");
  EXPECT_TRUE(tells(row(check(0), "pilot"), "excursion"));
}

TEST_F(Check, TellsAGuestsSentenceApartWhereAllStemsWereExportedAgain) {
  slip("pilot", 61.13, 64.75, 96);
  for (const char* name : {"keeper", "mate"}) {
    Samples samples = samples_of(name);
    for (float& sample : samples) sample *= 0.5F;
    put(name, samples);
  }
  EXPECT_TRUE(tells(row(check(0), "pilot"), "excursion"));
}

TEST_F(Check, TellsWhatAStemSaysThatNothingConfirms) {
  Samples samples = samples_of("keeper");
  const Samples strange = test::noise(4 * kRateHz, 0.2F, 9);
  std::copy(strange.begin(), strange.end(), samples.begin() + 102 * kRateHz);
  put("keeper", samples);
  const Json keeper = row(check(0), "keeper");
  ASSERT_TRUE(tells(keeper, "unheard")) << keeper;
  for (const Json& finding : keeper.at("findings"))
    if (finding.at("code") == "unheard") {
      EXPECT_NEAR(finding.at("line_s").get<double>(), 102.0, 0.5);
    }
}

TEST_F(Check, FailsAMicrophoneThatWasEmptiedThoughItsNeighbourHearsItsPerson) {
  silence("mate", 115.0, 131.5);
  const Json told = check(1);
  EXPECT_TRUE(tells(row(told, "mate"), "emptied")) << row(told, "mate");
  EXPECT_EQ(row(told, "keeper").at("verdict"), "within") << row(told, "keeper");
  // Nothing tells without the lineup whether its recorder ran.
  fs::remove(done() / "lineup.json");
  const Json alone = check(0);
  EXPECT_TRUE(tells(row(alone, "mate"), "muted")) << row(alone, "mate");
}

TEST_F(Check, PassesAMicrophoneThatWasEmptiedWhereItsPersonIsSilent) {
  silence("mate", 53.0, 70.4);
  EXPECT_TRUE(row(check(0), "mate").at("findings").empty());
}

TEST_F(Check, WritesATestReport) {
  bend("keeper", {{0.0, kLength_s - 1.0, 1.2e-3, kLength_s - 1.0 + 1.2e-3, 0.0}});
  check(1, {"--junit", (work_ / "check.xml").string()});
  const std::string xml = test::read_text(work_ / "check.xml");
  EXPECT_NE(xml.find("tests=\"3\" failures=\"1\""), std::string::npos) << xml;
  EXPECT_NE(xml.find("name=\"keeper\">\n    <failure type=\"beyond\" message=\"At 00:"),
            std::string::npos)
      << xml;
}

TEST_F(Check, HoldsALineupAgainstItsSessionWithoutStems) {
  const auto told = test::run_kilter(
      {"check", show_.string(), "--lineup", (done() / "lineup.json").string(), "--json"});
  EXPECT_EQ(told.exit, 0) << told.out << told.err;
  const Json measured = Json::parse(told.out);  // outlives the loop over it
  for (const Json& each : measured.at("stems"))
    EXPECT_LT(std::abs(each.at("worst_s").get<double>()), 20e-6) << each;
}

TEST_F(Check, TakesAnyFolderOfStemsAndAMix) {
  fs::rename(stem("mixdown"), work_ / "reference.wav");
  fs::remove(done() / "lineup.json");
  const auto told = test::run_kilter(
      {"check", (done() / "stems").string(), "--mix", (work_ / "reference.wav").string()});
  EXPECT_EQ(told.exit, 0) << told.out << told.err;
  EXPECT_NE(told.out.find("3 of 3 stems within 1 ms"), std::string::npos) << told.out;
}

TEST_F(Check, TellsAHoleAsAStepThatGoesOnToTheEnd) {
  Samples samples = samples_of("keeper");
  const auto at = samples.begin() + 80 * kRateHz;
  samples.erase(at, at + 3 * kRateHz / 10);
  put("keeper", samples);
  const Json keeper = row(check(1), "keeper");
  EXPECT_EQ(keeper.at("verdict"), "beyond") << keeper;
  const std::string words = words_of(keeper);
  EXPECT_NE(words.find("300 ms early from 00:01:"), std::string::npos) << words;
  EXPECT_NE(words.find("to its end: in between, it lost 300 ms."), std::string::npos) << words;
  EXPECT_EQ(words.find("elsewhere does not"), std::string::npos) << words;
  for (const Json& finding : keeper.at("findings"))
    if (finding.at("code") == "misaligned") {
      EXPECT_NEAR(finding.at("step_s").get<double>(), 0.3, 1e-3);
      EXPECT_GT(finding.at("line_s").get<double>(), 79.0);
    }
}

}  // namespace
}  // namespace kilter
