// Whole runs over a simulated session, read as a user reads them.
#include <gtest/gtest.h>
#include <sndfile.h>

#include <cmath>
#include <filesystem>
#include <map>
#include <memory>
#include <nlohmann/json.hpp>

#include "kilter/edits/lineup_file.h"
#include "kilter/media/audio_file.h"
#include "media/read_whole.h"
#include "run_kilter.h"
#include "simulator/session_files.h"
#include "simulator/simulator.h"
#include "stem_truth.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter {
namespace {

namespace fs = std::filesystem;

/// Two people in a room, a guest at 44.1 kHz, 70 s of mix, all recorded from before it begins; made
/// once for all tests, which only read it.
class EndToEnd : public testing::Test {
 protected:
  static void SetUpTestSuite() {
    auto spec = simulator::hybrid_session(12, 70.0, 2, 1);
    spec.recorders[0].start_s = -3.58;
    spec.recorders[1].start_s = -9.95;
    const auto session = simulator::simulate(spec, simulator::SyntheticVoices(12), 2);
    ASSERT_TRUE(session) << session.error().what;
    truth_ = std::make_unique<simulator::Session>(*session);
    sources_ = std::make_unique<test::TemporaryFolder>();
    ASSERT_TRUE(simulator::write_session(*truth_, show(), {}));
  }
  static void TearDownTestSuite() {
    sources_.reset();
    truth_.reset();
  }

  static fs::path show() { return *sources_ / "lighthouse"; }
  static std::vector<std::string> names_in(const fs::path& folder) {
    std::vector<std::string> names;
    for (const auto& entry : fs::directory_iterator(folder))
      names.push_back(entry.path().filename().string());
    std::sort(names.begin(), names.end());
    return names;
  }
  /// A session folder of its own with the simulated files, to be spoilt.
  fs::path copied_show() const {
    fs::path folder = work_ / "spoilt";
    fs::create_directory(folder);
    for (const auto& entry : fs::directory_iterator(show()))
      fs::copy_file(entry.path(), folder / entry.path().filename());
    return folder;
  }
  std::string work(const std::string& name) const { return (work_ / name).string(); }
  media::AudioInfo stem_info(const std::string& out, const std::string& track) const {
    const auto stem = media::open_audio(work_ / out / "stems" / (track + ".wav"));
    EXPECT_TRUE(stem) << stem.error().what;
    return stem ? stem->info : media::AudioInfo{};
  }
  static double length_s(const simulator::SimulatedTrack& track) {
    return static_cast<double>(track.samples.size()) / track.clock.rate_hz;
  }
  /// Arguments that conform the session with its true lineup, without the time that aligning takes.
  std::vector<std::string> conform_true_lineup() const {
    Lineup lineup;
    lineup.session = "lighthouse";
    lineup.timeline_rate_hz = 48000.0;
    lineup.to_s = 70.0;
    for (const simulator::SimulatedTrack& truth : truth_->tracks) {
      LineupTrack& track = lineup.tracks.emplace_back();
      track.name = truth.name;
      track.parts = {{truth.name + ".wav", 1, std::ssize(truth.samples)}};
      track.rate_hz = truth.clock.rate_hz;
      track.standing = Standing::firm;
      track.uncertainty_us = 2.0;
      track.map = *TimeMap::line(truth.clock.start_s, truth.clock.drift_ppm, length_s(truth), 2.0);
    }
    EXPECT_TRUE(edits::write_lineup(lineup, work_ / "true.json"));
    return {"conform", show().string(), "--lineup", work("true.json"), "--out", work("done")};
  }

  static std::unique_ptr<simulator::Session> truth_;
  static std::unique_ptr<test::TemporaryFolder> sources_;
  test::TemporaryFolder work_;
};
std::unique_ptr<simulator::Session> EndToEnd::truth_;
std::unique_ptr<test::TemporaryFolder> EndToEnd::sources_;

TEST_F(EndToEnd, SurveyListsTheFilesAndTheMix) {
  const test::Told told = test::run_kilter({"survey", show().string()});
  EXPECT_EQ(told.exit, 0) << told.err;
  EXPECT_EQ(told.err, "");
  EXPECT_NE(told.out.find("the mix is \"mixdown.wav\" (by its name)"), std::string::npos);
  for (const simulator::SimulatedTrack& track : truth_->tracks)
    EXPECT_NE(told.out.find('\n' + track.name + ' '), std::string::npos) << told.out;
}

TEST_F(EndToEnd, SurveyWritesASessionFileThatSaysTheSame) {
  const fs::path before = fs::current_path();
  fs::current_path(work_.path());
  const test::Told told = test::run_kilter({"survey", show().string(), "--write-session"});
  const test::Told again = test::run_kilter({"survey", show().string(), "--write-session"});
  const test::Told read = test::run_kilter({"survey", "lighthouse.session.toml"});
  fs::current_path(before);
  EXPECT_EQ(told.exit, 0) << told.err;
  EXPECT_NE(told.out.find("lighthouse.session.toml"), std::string::npos) << told.out;
  EXPECT_EQ(again.exit, 2) << "a file that somebody may have edited";
  EXPECT_EQ(read.exit, 0) << read.err;
  EXPECT_NE(read.out.find("the mix is \"mixdown.wav\" (as told)"), std::string::npos) << read.out;
  for (const simulator::SimulatedTrack& track : truth_->tracks)
    EXPECT_NE(read.out.find('\n' + track.name + ' '), std::string::npos) << read.out;
}

TEST_F(EndToEnd, AlignFindsEveryTrackWithinTenMicroseconds) {
  const test::Told told =
      test::run_kilter({"align", show().string(), "--lineup", work("found.json")});
  EXPECT_EQ(told.exit, 0) << told.out << told.err;
  EXPECT_NE(told.out.find("All 3 tracks are firm"), std::string::npos) << told.out;
  EXPECT_NE(told.out.find(work("found.json")), std::string::npos);
  EXPECT_EQ(names_in(work_.path()), (std::vector<std::string>{"found.json"}));

  const auto lineup = edits::read_lineup(work_ / "found.json");
  ASSERT_TRUE(lineup) << lineup.error().what;
  EXPECT_EQ(lineup->session, "lighthouse");
  EXPECT_EQ(lineup->to_s, 70.0);
  std::map<std::string, const LineupTrack*> found;
  for (const LineupTrack& track : lineup->tracks) found[track.name] = &track;
  ASSERT_EQ(found.size(), truth_->tracks.size());
  for (std::size_t i = 0; i < truth_->tracks.size(); ++i) {
    const simulator::SimulatedTrack& expected = truth_->tracks[i];
    const LineupTrack& track = *found.at(expected.name);
    ASSERT_TRUE(track.map);
    EXPECT_EQ(track.frames(), static_cast<std::int64_t>(expected.samples.size()));
    const double length_s = track.map->spans().back().to_s;
    // The bound that a lossless session must keep over the whole track.
    for (const double track_s : {0.0, length_s / 2.0, length_s})
      EXPECT_NEAR(*track.map->to_line(track_s), truth_->line_of(i, track_s), 10e-6)
          << track.name << " at " << track_s;
  }
  EXPECT_EQ(found.at(truth_->tracks[0].name)->recorder, found.at(truth_->tracks[1].name)->recorder);
  EXPECT_NE(found.at(truth_->tracks[0].name)->recorder, found.at(truth_->tracks[2].name)->recorder);
}

TEST_F(EndToEnd, AlignGivesTheSameForAnyThreadCountAndWayToNameTheSession) {
  const test::Told folder = test::run_kilter(
      {"align", show().string(), "--threads", "1", "--json", "--lineup", work("l.json")});
  EXPECT_EQ(folder.exit, 0);
  EXPECT_EQ(nlohmann::json::parse(folder.out)["kind"], "kilter lineup");
  EXPECT_EQ(folder.out, test::read_text(work_ / "l.json"));

  std::vector<std::string> files{"align", "--threads", "3", "--json", "--lineup", work("l.json")};
  for (const auto& entry : fs::directory_iterator(show())) files.push_back(entry.path().string());
  EXPECT_EQ(test::run_kilter(files).out, folder.out);
}

TEST_F(EndToEnd, AlignFindsTheMixBySoundWhereNoNameTells) {
  const fs::path folder = copied_show();
  fs::rename(folder / "mixdown.wav", folder / "aaa.wav");
  const test::Told survey = test::run_kilter({"survey", folder.string()});
  EXPECT_NE(survey.out.find("the mix is \"aaa.wav\" (by its sound: all "), std::string::npos)
      << survey.out;
  const test::Told told =
      test::run_kilter({"align", folder.string(), "--lineup", work("l.json")}, true);
  EXPECT_EQ(told.exit, 0) << told.err;
  EXPECT_NE(told.out.find("All 3 tracks are firm"), std::string::npos) << told.out;
  EXPECT_NE(told.err.find("\rlooking for the mix "), std::string::npos);
}

TEST_F(EndToEnd, AlignKeepsTheTracksFirmBesideCopiesOfTheMix) {
  const fs::path folder = copied_show();
  // In stereo, and the same as MP3: nothing in them is equal to a sample.
  test::Samples right = truth_->mix;
  for (float& x : right) x *= 0.8F;
  fs::remove(folder / "mixdown.wav");
  test::write_sound(folder / "mixdown.wav", {truth_->mix, right}, 48000);
  const int mp3 = SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III;
  test::write_sound(folder / "mixdown.mp3", {truth_->mix, right}, 48000, mp3);
  const test::Told plain = test::run_kilter({"align", folder.string(), "--lineup", work("l.json")});
  EXPECT_EQ(plain.exit, 0) << plain.err << plain.out;
  EXPECT_NE(plain.out.find("All 3 tracks are firm"), std::string::npos) << plain.out;
  EXPECT_NE(plain.out.find("; a copy of the mix (mixdown)"), std::string::npos) << plain.out;

  fs::rename(folder / "mixdown.mp3", folder / "sent-mix.mp3");
  test::write_sound(folder / "right.wav", {right}, 48000);
  const test::Told told =
      test::run_kilter({"conform", folder.string(), "--mix", (folder / "mixdown.wav").string(),
                        "--out", work("done")});
  EXPECT_EQ(told.exit, 1) << told.err;  // left out for its name alone
  EXPECT_NE(told.out.find("3 of 4 tracks firm"), std::string::npos) << told.out;
  EXPECT_NE(told.out.find("sent-mix: Its name says that it is a mix"), std::string::npos)
      << told.out;
  EXPECT_NE(told.out.find("No stem of right: it holds the mix itself."), std::string::npos)
      << told.out;
  EXPECT_EQ(names_in(work_ / "done" / "stems").size(), 4U);
}

TEST_F(EndToEnd, AlignAsksWhichOfTwoMixesIsMeant) {
  const fs::path folder = copied_show();
  test::Samples softer = truth_->mix;
  for (float& x : softer) x *= 0.9F;
  test::write_sound(folder / "other-mix.wav", {softer}, 48000);
  const test::Told told = test::run_kilter({"align", folder.string(), "--lineup", work("l.json")});
  EXPECT_EQ(told.exit, 3);
  EXPECT_EQ(
      told.err,
      "kilter: the mix of \"spoilt\" is not known: \"mixdown.wav\" and \"other-mix.wav\" could "
      "each be the mix\n  next: name it with --mix FILE\n");
  EXPECT_FALSE(fs::exists(work_ / "l.json"));
  const test::Told survey = test::run_kilter({"survey", folder.string(), "--json"});
  EXPECT_EQ(survey.exit, 1);
  EXPECT_EQ(nlohmann::json::parse(survey.out)["findings"][0]["code"], "several-mixes");
}

TEST_F(EndToEnd, AlignGoesOnBesideABrokenAStrangeAndASilentTrack) {
  const fs::path folder = copied_show();
  test::write_text(folder / "broken.wav", "Dear keepers, my recording is attached.\n");
  test::write_sound(folder / "noise.wav", {test::noise(48000 * 60, 0.1F, 5)}, 48000);
  test::write_sound(folder / "silent.wav", {test::Samples(48000 * 60, 0.0F)}, 48000);
  const test::Told told = test::run_kilter({"align", folder.string(), "--lineup", work("l.json")});
  EXPECT_EQ(told.exit, 1);
  EXPECT_NE(told.err.find("cannot read \"broken.wav\""), std::string::npos) << told.err;
  EXPECT_NE(told.out.find("3 of 6 tracks firm"), std::string::npos) << told.out;
  EXPECT_NE(told.out.find("3 unplaced (broken, noise,\nsilent)"), std::string::npos) << told.out;
  const auto document = nlohmann::json::parse(test::read_text(work_ / "l.json"));
  std::map<std::string, std::string> codes;
  for (const auto& track : document["tracks"])
    for (const auto& finding : track["findings"])
      codes[track["name"]] += finding["code"].get<std::string>() + ' ';
  for (const char* name : {"broken", "noise", "silent"})
    EXPECT_NE(told.out.find(std::string(". ") + name + ": "), std::string::npos) << told.out;
  EXPECT_NE(codes["broken"].find("unreadable"), std::string::npos);
  EXPECT_NE(codes["noise"].find("unmatched"), std::string::npos) << codes["noise"];
  EXPECT_NE(codes["silent"].find("silent"), std::string::npos);
}

TEST_F(EndToEnd, ConformWritesEqualStemsTheLineupAndTheCuts) {
  const auto before = names_in(show());
  const test::Told told = test::run_kilter({"conform", show().string(), "--out", work("done")});
  EXPECT_EQ(told.exit, 0) << told.err;
  EXPECT_EQ(told.err, "");
  EXPECT_EQ(names_in(show()), before);
  EXPECT_EQ(names_in(work_.path()), (std::vector<std::string>{"done"}));
  EXPECT_EQ(names_in(work_ / "done"),
            (std::vector<std::string>{"edits", "lineup.json", "report.html", "stems"}));
  const std::string cuts = test::read_text(work_ / "done" / "edits" / "cuts.tsv");
  for (const simulator::SimulatedTrack& track : truth_->tracks) {
    const media::AudioInfo stem = stem_info("done", track.name);
    EXPECT_EQ(stem.format, "WAV 24-bit");
    EXPECT_EQ(stem.rate.hz, 48000.0);
    EXPECT_EQ(stem.claimed_length.n, 48000 * 70);
    EXPECT_NE(cuts.find('\n' + track.name + '\t'), std::string::npos);
  }

  const test::Told again = test::run_kilter({"conform", show().string(), "--out", work("again"),
                                             "--lineup", work("done") + "/lineup.json", "--json"});
  EXPECT_EQ(again.exit, 0) << again.err;
  EXPECT_EQ(nlohmann::json::parse(again.out)["stems"].size(), 3U);
  EXPECT_EQ(nlohmann::json::parse(again.out)["mix"]["file"], "stems/mixdown.wav");
  EXPECT_NE(test::read_text(work_ / "again" / "report.html").find("Not measured"),
            std::string::npos);
  // The mix goes beside them as it is.
  const auto mix = media::read_whole(show() / "mixdown.wav");
  const auto mix_stem = media::read_whole(work_ / "done" / "stems" / "mixdown.wav");
  ASSERT_TRUE(mix && mix_stem);
  EXPECT_EQ(mix_stem->channels, mix->channels);
  for (const simulator::SimulatedTrack& track : truth_->tracks) {
    const fs::path stem = fs::path("stems") / (track.name + ".wav");
    EXPECT_TRUE(test::read_text(work_ / "done" / stem) == test::read_text(work_ / "again" / stem));
  }
}

TEST_F(EndToEnd, ConformWritesTheSameReportForAnyThreadCountAndPlace) {
  const std::vector<std::string> args{"conform", show().string(), "--out", work("done")};
  const std::vector<std::string> other{
      "conform", "--out=" + work("again"), show().string(), "--threads", "3", "--quiet", "--json"};
  ASSERT_EQ(test::run_kilter(args).exit, 0);
  const std::string page = test::read_text(work_ / "done" / "report.html");
  const test::Told told = test::run_kilter(other);
  ASSERT_EQ(told.exit, 0) << told.err;
  EXPECT_EQ(nlohmann::json::parse(told.out)["report"], "report.html");
  EXPECT_TRUE(test::read_text(work_ / "again" / "report.html") == page);
  EXPECT_NE(page.find("All 3 tracks lie in step with the mix"), std::string::npos);
  EXPECT_NE(page.find("<code>kilter conform " + show().string()), std::string::npos);
  EXPECT_EQ(page.find("class=\"unmeasured\""), std::string::npos);
}

/// What the page hands its script.
nlohmann::json data_of(const std::string& page) {
  const std::string start = "id=\"data\">";
  const auto from = page.find(start) + start.size();
  return nlohmann::json::parse(page.substr(from, page.find("</script>", from) - from));
}

TEST_F(EndToEnd, TheReportHoldsWhatTheAnalysisHeard) {
  ASSERT_EQ(test::run_kilter({"conform", show().string(), "--out", work("done")}).exit, 0);
  const auto lineup = edits::read_lineup(work_ / "done" / "lineup.json");
  ASSERT_TRUE(lineup);
  const auto data = data_of(test::read_text(work_ / "done" / "report.html"));
  ASSERT_EQ(data["lanes"].size(), lineup->tracks.size() + 1);
  for (std::size_t i = 0; i < lineup->tracks.size(); ++i) {
    const LineupTrack& track = lineup->tracks[i];
    const auto& lane = data["lanes"][i + 1];
    EXPECT_EQ(lane["name"], track.name);
    EXPECT_EQ(lane["cell"], 0.05);
    const auto& windows = lane["windows"];
    EXPECT_EQ(std::ssize(windows), track.windows_measured);
    int used = 0;
    for (const auto& window : windows) {
      if (window[3] <= 0.0) continue;
      ++used;
      // A window that counts lies within its bound and its own error of the map, or nearly.
      EXPECT_LT(std::abs(window[1].get<double>()),
                track.uncertainty_us + 5.0 * window[2].get<double>());
    }
    EXPECT_GE(used, track.windows_used / 2);
  }
}

TEST_F(EndToEnd, ConformCopiesTheTracksOfTheClockThatItIsGiven) {
  const std::string name = truth_->tracks[0].name;
  const test::Told told = test::run_kilter(
      {"conform", show().string(), "--out", work("done"), "--clock", name, "--json"});
  ASSERT_EQ(told.exit, 0) << told.err;
  const auto lineup = edits::read_lineup(work_ / "done" / "lineup.json");
  ASSERT_TRUE(lineup);
  EXPECT_EQ(lineup->timeline_clock, name);
  int copies = 0;
  for (std::size_t i = 0; i < lineup->tracks.size(); ++i) {
    const LineupTrack& track = lineup->tracks[i];
    const auto recording = media::read_whole(show() / track.parts[0].file);
    const auto stem = media::read_whole(work_ / "done" / "stems" / (track.name + ".wav"));
    ASSERT_TRUE(recording && stem);
    if (track.recorder != lineup->tracks[0].recorder) continue;
    const double from_s = nlohmann::json::parse(told.out)["from_s"];
    const auto start =
        static_cast<std::ptrdiff_t>(std::llround((track.map->start_s() - from_s) * track.rate_hz));
    constexpr std::ptrdiff_t kFade = 96;  // 2 ms
    const auto& copy = stem->channels[0];
    const auto& original = recording->channels[0];
    int different = 0;
    for (auto n = std::max<std::ptrdiff_t>(start, 0) + kFade;
         n < std::min(start + std::ssize(original), std::ssize(copy)) - kFade; ++n)
      different +=
          copy[static_cast<std::size_t>(n)] != original[static_cast<std::size_t>(n - start)];
    EXPECT_EQ(different, 0) << track.name;
    ++copies;
  }
  EXPECT_EQ(copies, 2);
  const test::Told checked = test::run_kilter({"check", work("done")});
  EXPECT_EQ(checked.exit, 0) << checked.out << checked.err;
}

TEST_F(EndToEnd, ConformRefusesTheClockOfATrackThatIsNotThere) {
  auto args = conform_true_lineup();
  args.insert(args.end(), {"--clock", "nobody"});
  const test::Told told = test::run_kilter(args);
  EXPECT_EQ(told.exit, 2);
  EXPECT_NE(told.err.find("there is no track \"nobody\""), std::string::npos) << told.err;
  EXPECT_FALSE(fs::exists(work_ / "done"));
}

TEST_F(EndToEnd, ConformTellsOfATrackThatTheStemsDoNotReach) {
  const auto args = conform_true_lineup();
  auto lineup = edits::read_lineup(work_ / "true.json");
  ASSERT_TRUE(lineup);
  lineup->tracks[0].map = *TimeMap::line(5000.0, 0.0, length_s(truth_->tracks[0]), 2.0);
  ASSERT_TRUE(edits::write_lineup(*lineup, work_ / "true.json"));
  const test::Told told = test::run_kilter(args);
  EXPECT_EQ(told.exit, 1) << told.out << told.err;
  EXPECT_NE(told.err.find("lies outside the stems' time"), std::string::npos) << told.err;
}

TEST_F(EndToEnd, ConformReplacesAnEarlierResultOnlyWhenTold) {
  std::vector<std::string> args = conform_true_lineup();
  ASSERT_EQ(test::run_kilter(args).exit, 0);
  args.insert(args.end(), {"--bits", "16"});
  EXPECT_EQ(test::run_kilter(args).exit, 2);
  EXPECT_EQ(stem_info("done", truth_->tracks[0].name).format, "WAV 24-bit");
  args.emplace_back("--replace");
  const test::Told told = test::run_kilter(args);
  EXPECT_EQ(told.exit, 0) << told.err;
  EXPECT_EQ(stem_info("done", truth_->tracks[0].name).format, "WAV 16-bit");
}

TEST_F(EndToEnd, ConformTakesRateRangeAndBits) {
  std::vector<std::string> args = conform_true_lineup();
  args.insert(args.end(), {"--rate", "44100", "--range", "shared", "--bits", "32f"});
  const test::Told told = test::run_kilter(args);
  ASSERT_EQ(told.exit, 0) << told.err;
  const media::AudioInfo stem = stem_info("done", truth_->tracks[0].name);
  EXPECT_EQ(stem.format, "WAV 32-bit float");
  EXPECT_EQ(stem.rate.hz, 44100.0);
  double shared_from_s = -1e9;
  double shared_to_s = 1e9;
  for (std::size_t i = 0; i < truth_->tracks.size(); ++i) {
    shared_from_s = std::max(shared_from_s, truth_->line_of(i, 0.0));
    shared_to_s = std::min(shared_to_s, truth_->line_of(i, length_s(truth_->tracks[i])));
  }
  // The ends fall on whole frames of the stems.
  EXPECT_NEAR(static_cast<double>(stem.claimed_length.n), 44100.0 * (shared_to_s - shared_from_s),
              2.0);
}

TEST_F(EndToEnd, ConformWritesEditListsAtTheRateAndFromTheTimecodeThatAreAskedFor) {
  std::vector<std::string> args = conform_true_lineup();
  args.insert(args.end(), {"--fps", "29.97df", "--start-tc", "10:00:00;00"});
  const test::Told told = test::run_kilter(args);
  ASSERT_EQ(told.exit, 0) << told.err;
  EXPECT_NE(told.out.find("done/edits: 7 more files (SMPTE 258M, AES31-3), 10:00:00;00 at 29.97df"),
            std::string::npos)
      << told.out;
  const fs::path edits = work_ / "done" / "edits";
  EXPECT_EQ(names_in(edits),
            (std::vector<std::string>{"by-track", "cuts.tsv", "lighthouse-stems.adl",
                                      "lighthouse-stems.edl", "lighthouse.adl", "lighthouse.edl"}));
  EXPECT_EQ(names_in(edits / "by-track").size(), 3U);
  // 70 s are 2097 frames of 1001/30000 s and a little; every stem lies there.
  const std::string stems = test::read_text(edits / "lighthouse-stems.edl");
  EXPECT_EQ(stems.find("TITLE: LIGHTHOUSE STEMS 29.97DF FPS\r\nFCM: DROP FRAME\r\n001  "), 0U);
  EXPECT_NE(stems.find("00:00:00;00 00:01:09;29 10:00:00;00 10:01:09;29"), std::string::npos)
      << stems;
  const std::string decisions = test::read_text(edits / "lighthouse-stems.adl");
  EXPECT_NE(decisions.find("URL:file://localhost/"), std::string::npos);
  EXPECT_NE(decisions.find("/done/stems/" + truth_->tracks[0].name + ".wav\""), std::string::npos)
      << decisions;
  const std::string events = test::read_text(edits / "lighthouse.edl");
  for (const simulator::SimulatedTrack& track : truth_->tracks)
    EXPECT_NE(events.find("* SOURCE FILE: " + track.name + ".wav\r\n"), std::string::npos);
}

TEST_F(EndToEnd, ConformSaysWhatTheListsLackOfAShowThatGoesOnPastMidnight) {
  std::vector<std::string> args = conform_true_lineup();
  args.insert(args.end(), {"--fps", "25", "--start-tc", "23:59:10:00"});
  const test::Told told = test::run_kilter(args);
  EXPECT_EQ(told.exit, 1) << told.err;
  EXPECT_NE(test::unwrapped(told.out).find("the lists end there: the last 00:00:20.0"),
            std::string::npos)
      << told.out;
  const fs::path edits = work_ / "done" / "edits";
  EXPECT_NE(test::read_text(work_ / "done" / "report.html").find("The lists end at midnight"),
            std::string::npos);
  EXPECT_NE(test::read_text(edits / "lighthouse-stems.edl").find("NOT LISTED"), std::string::npos);
  EXPECT_NE(test::read_text(edits / "lighthouse-stems.adl").find("up to midnight"),
            std::string::npos);
}

/// Where 0.1 s of the samples are quietest, between two of them: its middle.
std::size_t quietest_between(const std::vector<float>& samples, std::size_t from, std::size_t to) {
  constexpr std::size_t kStretch = 4800;
  std::size_t best = from;
  double least = 1e300;
  for (std::size_t at = from; at + kStretch <= to; at += kStretch / 2) {
    double power = 0.0;
    for (std::size_t i = at; i < at + kStretch; ++i)
      power += static_cast<double>(samples[i]) * static_cast<double>(samples[i]);
    if (power >= least) continue;
    least = power;
    best = at;
  }
  return best + kStretch / 2;
}

TEST_F(EndToEnd, ATakeThatWasSplitInPausesIsOneTrackAgainOnceItsPartsLieEndToEnd) {
  const fs::path folder = copied_show();
  const auto& track = truth_->tracks.front();
  fs::remove(folder / (track.name + ".wav"));
  // As a recorder splits: two of one length and a rest. No sound at the joints tells anything.
  const auto rate = static_cast<std::size_t>(track.clock.rate_hz);
  const std::size_t first = quietest_between(track.samples, 20 * rate, 34 * rate);
  const std::vector<std::size_t> ends{first, 2 * first, track.samples.size()};
  std::size_t from = 0;
  for (std::size_t i = 0; i < ends.size(); ++i) {
    const std::vector<float> part(track.samples.begin() + static_cast<std::ptrdiff_t>(from),
                                  track.samples.begin() + static_cast<std::ptrdiff_t>(ends[i]));
    test::write_sound(folder / ("rec_000" + std::to_string(i + 1) + ".wav"), {part},
                      static_cast<int>(rate), SF_FORMAT_WAV | SF_FORMAT_PCM_24);
    from = ends[i];
  }
  const test::Told told = test::run_kilter({"align", folder.string(), "--lineup", work("l.json")});
  EXPECT_EQ(told.exit, 0) << told.out << told.err;
  EXPECT_NE(told.out.find("One take in several files: rec_0001.wav, rec_0002.wav, rec_0003.wav."),
            std::string::npos)
      << told.out;
  const auto lineup = edits::read_lineup(work("l.json"));
  ASSERT_TRUE(lineup);
  ASSERT_EQ(lineup->tracks.size(), truth_->tracks.size());
  for (const LineupTrack& placed : lineup->tracks) {
    if (placed.parts.size() < 2) continue;
    EXPECT_EQ(placed.parts.size(), 3U);
    EXPECT_EQ(placed.standing, Standing::firm);
    EXPECT_NEAR(placed.map->to_line(30.0).value(), truth_->line_of(0, 30.0), 50e-6);
  }
}

TEST_F(EndToEnd, ConformPlacesATrackWhereAPersonsCutsDo) {
  std::vector<std::string> args = conform_true_lineup();
  ASSERT_EQ(test::run_kilter(args).exit, 0);
  const fs::path cuts = work_ / "done" / "edits" / "cuts.tsv";
  args.insert(args.end(), {"--replace", "--cuts", cuts.string()});
  const std::string lineup = test::read_text(work_ / "done" / "lineup.json");
  ASSERT_EQ(test::run_kilter(args).exit, 0);
  EXPECT_EQ(test::read_text(work_ / "done" / "lineup.json"), lineup);  // nothing was changed

  // The last track, half a second later: frames of the timeline stand in the seventh column.
  const std::string& name = truth_->tracks.back().name;
  const media::AudioInfo before = stem_info("done", name);
  const auto old_sound = test::read_all(work_ / "done" / "stems" / (name + ".wav"));
  std::string text = test::read_text(cuts);
  std::size_t at = text.find('\n' + name + '\t');
  ASSERT_NE(at, std::string::npos);
  for (int column = 0; column < 6; ++column) at = text.find('\t', at) + 1;
  const std::size_t end = text.find('\t', text.find('\t', text.find('\t', at) + 1) + 1);
  const double first = std::stod(text.substr(at));
  text.replace(at, end - at, std::to_string(first + 24000.0) + "\t\t");
  test::write_text(work_ / "mended.tsv", text);
  args.back() = work("mended.tsv");
  const test::Told told = test::run_kilter(args);
  EXPECT_EQ(told.exit, 0) << told.err;
  EXPECT_NE(told.out.find(". " + name + ": Placed by hand (\"mended.tsv\""), std::string::npos)
      << told.out;
  const auto placed = edits::read_lineup(work_ / "done" / "lineup.json");
  ASSERT_TRUE(placed);
  EXPECT_EQ(placed->tracks.back().findings.back().code, "overruled");
  const auto new_sound = test::read_all(work_ / "done" / "stems" / (name + ".wav"));
  ASSERT_EQ(new_sound.size(), old_sound.size());
  EXPECT_EQ(before.claimed_length.n, static_cast<std::int64_t>(old_sound.size()));
  // The same sound 24000 frames later, but for the sixth decimal of its place.
  for (std::size_t i = 100000; i < 1000000; i += 1000)
    ASSERT_NEAR(new_sound[i + 24000], old_sound[i], 1e-4) << i;
}

TEST_F(EndToEnd, ConformSaysWhereAPersonsCutsAreWrong) {
  std::vector<std::string> args = conform_true_lineup();
  test::write_text(work_ / "mended.tsv", "track\tfile\n");
  args.insert(args.end(), {"--cuts", work("mended.tsv")});
  const test::Told told = test::run_kilter(args);
  EXPECT_EQ(told.exit, 3);
  EXPECT_NE(told.err.find("mended.tsv"), std::string::npos) << told.err;
  EXPECT_NE(told.err.find("line 1: the column channel is missing"), std::string::npos);
  EXPECT_FALSE(fs::exists(work_ / "done"));
}

TEST_F(EndToEnd, ConformTellsWhenABoundIsBeyondTheLimit) {
  std::vector<std::string> args = conform_true_lineup();
  args.insert(args.end(), {"--limit-ms", "0.001"});
  const test::Told told = test::run_kilter(args);
  EXPECT_EQ(told.exit, 1);
  EXPECT_NE(told.err.find("may be 0.002 ms off, which is beyond the limit of 0.001 ms"),
            std::string::npos)
      << told.err;
  EXPECT_EQ(told.err.find("beyond the limit"), told.err.rfind("beyond the limit"))
      << "one sentence for all tracks:\n"
      << told.err;
  EXPECT_TRUE(fs::exists(work_ / "done" / "lineup.json"));
}

TEST_F(EndToEnd, ConformTellsOfSamplesCutOffAndKeepsThemInFloats) {
  const fs::path folder = copied_show();
  const simulator::SimulatedTrack& track = truth_->tracks[0];
  test::Samples loud = track.samples;
  const float peak = std::abs(*std::max_element(
      loud.begin(), loud.end(), [](float a, float b) { return std::abs(a) < std::abs(b); }));
  for (float& x : loud) x *= 2.0F / peak;
  fs::remove(folder / (track.name + ".wav"));
  test::write_sound(folder / (track.name + ".wav"), {loud}, static_cast<int>(track.clock.rate_hz));
  std::vector<std::string> args = conform_true_lineup();
  args[1] = folder.string();
  EXPECT_NE(test::run_kilter(args).out.find("cut off at full scale in its stem"),
            std::string::npos);
  args.insert(args.end(), {"--bits", "32f", "--replace"});
  EXPECT_EQ(test::run_kilter(args).out.find("cut off"), std::string::npos);
}

TEST_F(EndToEnd, ConformGoesOnWithoutATrackThatVanished) {
  const fs::path folder = copied_show();
  std::vector<std::string> args = conform_true_lineup();
  args[1] = folder.string();
  const std::string gone = truth_->tracks[1].name;
  fs::remove(folder / (gone + ".wav"));
  const test::Told told = test::run_kilter(args);
  EXPECT_EQ(told.exit, 1);
  EXPECT_NE(told.out.find("No stem of " + gone), std::string::npos) << told.out;
  EXPECT_TRUE(fs::exists(work_ / "done" / "stems" / (truth_->tracks[0].name + ".wav")));
}

TEST_F(EndToEnd, ConformRefusesALineupOfAnotherFolder) {
  const fs::path folder = copied_show();
  std::vector<std::string> args = conform_true_lineup();
  args[1] = folder.string();
  for (const simulator::SimulatedTrack& track : truth_->tracks)
    fs::remove(folder / (track.name + ".wav"));
  const test::Told told = test::run_kilter(args);
  EXPECT_EQ(told.exit, 3);
  EXPECT_EQ(told.out, "");
  EXPECT_FALSE(fs::exists(work_ / "done"));
}

TEST_F(EndToEnd, SessionTomlNamesTracksAndLeavesSomeOut) {
  const fs::path folder = copied_show();
  fs::rename(folder / "mixdown.wav", folder / "show.wav");
  test::write_sound(folder / "spare.wav", {test::noise(48000, 0.1F, 5)}, 48000);
  test::write_text(folder / "session.toml",
                   "title = \"Lighthouse Hour 12\"\nmix = \"show.wav\"\n"
                   "[[track]]\nparts = [\"" +
                       truth_->tracks[0].name +
                       ".wav\"]\n"
                       "name = \"Zoë\"\n"
                       "[[track]]\nparts = [\"spare.wav\"]\nrole = \"ignore\"\n");
  const test::Told told = test::run_kilter({"survey", folder.string()});
  EXPECT_EQ(told.exit, 0) << told.out << told.err;
  EXPECT_NE(told.out.find("the mix is \"show.wav\" (as told)"), std::string::npos) << told.out;
  EXPECT_NE(told.out.find("\nZoë "), std::string::npos) << told.out;
  EXPECT_NE(told.out.find("ignored"), std::string::npos) << told.out;
}

TEST_F(EndToEnd, SessionTomlCanSayThatAFileIsNotTheMix) {
  const fs::path folder = copied_show();
  for (const char* role : {"ignore", "room"}) {
    test::write_text(
        folder / "session.toml",
        std::string("[[track]]\nparts = [\"mixdown.wav\"]\nrole = \"") + role + "\"\n");
    const test::Told told = test::run_kilter({"survey", folder.string()});
    EXPECT_EQ(told.exit, 1) << told.out << told.err;
    EXPECT_EQ(told.out.find("the mix is"), std::string::npos) << told.out;
    EXPECT_NE(told.out.find("No file is known as the mix"), std::string::npos) << told.out;
  }
}

TEST_F(EndToEnd, ProgressShowsOnATerminalUnlessQuiet) {
  const std::string folder = show().string();
  EXPECT_NE(test::run_kilter({"survey", folder}, true).err.find("\rreading "), std::string::npos);
  EXPECT_EQ(test::run_kilter({"survey", folder, "--quiet"}, true).err, "");
  EXPECT_EQ(test::run_kilter({"survey", folder}, false).err, "");
}

}  // namespace
}  // namespace kilter
