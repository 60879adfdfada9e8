#include "kilter/conform/listening_clips.h"

#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <set>

#include "kilter/conform/conform.h"
#include "kilter/edits/text_file.h"
#include "kilter/media/audio_file.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::conform {
namespace {

namespace fs = std::filesystem;

using test::noise;
using test::Samples;

constexpr int kRate_hz = 8000;
constexpr int kLength_s = 120;

/// Two stems of two minutes that begin at timeline second 10, and their mix.
class ListeningClips : public testing::Test {
 protected:
  ListeningClips() {
    fs::create_directory(stems());
    const Samples keeper = talk(1, 0, kLength_s);
    const Samples mate = talk(2, 30, 60);
    Samples mix = keeper;
    for (std::size_t i = 0; i < mix.size(); ++i) mix[i] += mate[i];
    test::write_sound(stems() / "keeper.wav", {keeper}, kRate_hz);
    test::write_sound(stems() / "mate.wav", {mate}, kRate_hz);
    test::write_sound(stems() / "mixdown.wav", {mix, mix}, kRate_hz);
    report_.rate_hz = kRate_hz;
    report_.from_s = 10.0;
    report_.frames = kLength_s * kRate_hz;
    for (const char* name : {"keeper", "mate"}) {
      lineup_.tracks.emplace_back().name = name;
      report_.stems.push_back({name, std::string(name) + ".wav", std::nullopt, 0, 0});
    }
    report_.mix = Stem{"mixdown.flac", "mixdown.wav", std::nullopt, 0, 0};
  }

  static Samples talk(std::uint32_t seed, int from_s, int to_s) {
    Samples sound = noise(kLength_s * kRate_hz, 0.3F, seed);
    for (std::size_t i = 0; i < sound.size(); ++i) {
      const auto second = static_cast<int>(i) / kRate_hz;
      if (second < from_s || second >= to_s) sound[i] = 0.0F;
    }
    return sound;
  }
  fs::path stems() const { return folder_ / "stems"; }
  fs::path listen() const { return folder_ / "listen"; }
  Result<std::vector<Clip>> write(const std::vector<ClipPlace>& places) {
    return write_clips(lineup_, report_, stems(), listen(), places, {});
  }
  static ClipPlace at(std::size_t track, ClipReason reason, double line_s) {
    return {track, reason, {line_s, line_s}, ""};
  }
  Samples sound_of(const Clip& clip) const {
    auto audio = media::open_audio(listen() / clip.file);
    EXPECT_TRUE(audio);
    EXPECT_EQ(audio->info.channels, 2);
    EXPECT_EQ(audio->info.format, "WAV 16-bit");
    Samples sound(static_cast<std::size_t>(2 * 20 * kRate_hz));
    const auto got = audio->source->read(sound);
    EXPECT_TRUE(got);
    sound.resize(static_cast<std::size_t>(2 * got->n));
    return sound;
  }

  test::TemporaryFolder folder_;
  Lineup lineup_;
  ConformReport report_;
};

TEST_F(ListeningClips, HoldTheMixOnTheLeftAndTheStemOnTheRight) {
  const auto clips = write({at(1, ClipReason::residual, 50.0)});
  ASSERT_TRUE(clips);
  ASSERT_EQ(clips->size(), 1U);
  const Clip& clip = clips->front();
  EXPECT_EQ(clip.file, "mate_00h00m50s_worst-residual.wav");
  EXPECT_EQ(clip.words, "worst residual");
  EXPECT_EQ(clip.from_s, 46.0);
  EXPECT_EQ(clip.length_s, 8.0);
  const Samples sound = sound_of(clip);
  ASSERT_EQ(sound.size(), 2U * 8U * kRate_hz);
  const Samples keeper = talk(1, 0, kLength_s);
  const Samples mate = talk(2, 30, 60);
  const std::size_t first = 36 * kRate_hz;  // the stems begin at 10
  double gain = 0.0;
  double power = 0.0;
  for (std::size_t i = 0; i < sound.size() / 2; ++i) {
    ASSERT_NEAR(sound[2 * i], keeper[first + i] + mate[first + i], 1e-4F);  // dither and all
    gain += static_cast<double>(sound[2 * i + 1] * mate[first + i]);
    power += static_cast<double>(mate[first + i] * mate[first + i]);
  }
  EXPECT_NEAR(gain / power, std::sqrt(2.0), 0.05);  // the mix has two voices of the same level
}

TEST_F(ListeningClips, AreLongerWhereWhatMustBeHeardIs) {
  const auto clips = write({{0, ClipReason::seam, {50.0, 53.0}, "a step of +3000 ms"},
                            {0, ClipReason::seam, {80.0, 95.0}, ""}});
  ASSERT_TRUE(clips);
  ASSERT_EQ(clips->size(), 2U);
  EXPECT_EQ((*clips)[0].words, "seam: a step of +3000 ms");
  EXPECT_EQ((*clips)[0].from_s, 46.0);
  EXPECT_EQ((*clips)[0].length_s, 11.0);
  EXPECT_EQ((*clips)[1].length_s, 14.0);
}

TEST_F(ListeningClips, StayWithinTheStemsAndLeaveOutWhatLiesElsewhere) {
  const auto clips = write({at(0, ClipReason::seam, 11.0), at(0, ClipReason::residual, 129.0),
                            at(0, ClipReason::evidence, 5.0), at(0, ClipReason::end, 140.0)});
  ASSERT_TRUE(clips);
  ASSERT_EQ(clips->size(), 2U);
  EXPECT_EQ((*clips)[0].from_s, 10.0);
  EXPECT_EQ((*clips)[1].from_s, 122.0);
}

TEST_F(ListeningClips, OfAStartAndAnEndHoldTheNearestTalk) {
  const auto clips = write({at(1, ClipReason::start, 10.0), at(1, ClipReason::end, 120.0)});
  ASSERT_TRUE(clips);
  ASSERT_EQ(clips->size(), 2U);
  // Mate talks from 40 to 70 of the timeline, and half a clip of it will do; noise has no two equal
  // seconds.
  EXPECT_NEAR((*clips)[0].from_s, 36.0, 1.0);
  EXPECT_NEAR((*clips)[1].from_s, 66.0, 1.0);
}

TEST_F(ListeningClips, AreSharedByPlacesThatLieTogether) {
  const auto clips = write({at(0, ClipReason::evidence, 50.0), at(0, ClipReason::seam, 51.0),
                            at(0, ClipReason::residual, 90.0), at(1, ClipReason::seam, 51.0)});
  ASSERT_TRUE(clips);
  ASSERT_EQ(clips->size(), 3U);
  EXPECT_EQ((*clips)[0].file, "keeper_00h00m51s_seam.wav");
  EXPECT_EQ((*clips)[0].words, "seam; weakest evidence");
  EXPECT_EQ((*clips)[2].track, 1U);
}

TEST_F(ListeningClips, HaveNamesThatAreSafeAndDifferent) {
  lineup_.tracks[0].name = "../Mate: \"one\"";
  lineup_.tracks[1].name = "..|mate_ _one_";
  const auto clips = write({at(0, ClipReason::seam, 50.0), at(1, ClipReason::seam, 50.0)});
  ASSERT_TRUE(clips);
  std::set<std::string> names;
  for (const Clip& clip : *clips) {
    EXPECT_TRUE(fs::exists(listen() / clip.file));
    EXPECT_FALSE(clip.file.has_parent_path());
    EXPECT_EQ(clip.file.string().find_first_of("/\\:*?\"<>|"), std::string::npos) << clip.file;
    std::string folded = clip.file.string();
    for (char& letter : folded) letter = static_cast<char>(std::tolower(letter));
    names.insert(folded);
  }
  EXPECT_EQ(names.size(), 2U);
}

TEST_F(ListeningClips, OfALongNameFitIntoAFileSystem) {
  lineup_.tracks[0].name = std::string(400, 'k');
  lineup_.tracks[1].name = lineup_.tracks[0].name;
  report_.from_s = -3600.0 * 100.0;
  const auto clips = write({at(0, ClipReason::evidence, -3600.0 * 100.0 + 20.0),
                            at(1, ClipReason::evidence, -3600.0 * 100.0 + 20.0)});
  ASSERT_TRUE(clips) << clips.error().what;
  EXPECT_EQ(clips->size(), 2U);
  EXPECT_NE((*clips)[0].file, (*clips)[1].file);
}

TEST_F(ListeningClips, AreListedBesideThem) {
  lineup_.tracks[0].name = "keeper\tof the\nlight";
  const auto clips = write({at(0, ClipReason::seam, 50.0), at(1, ClipReason::seam, 50.0)});
  ASSERT_TRUE(clips);
  const auto files = clip_files_in(listen());
  EXPECT_EQ(files, (std::vector<fs::path>{"clips.tsv", (*clips)[0].file, (*clips)[1].file}));
  const auto text = edits::read_text(listen() / "clips.tsv");
  ASSERT_TRUE(text);
  EXPECT_NE(text->find("\tkeeper of the light\t00:00:50.000\t00:00:46.000\t8.0\tseam\n"),
            std::string::npos)
      << *text;
}

TEST_F(ListeningClips, OfATableThatIsAnothersAreNone) {
  fs::create_directory(listen());
  EXPECT_TRUE(clip_files_in(listen()).empty());
  std::ofstream(listen() / "clips.tsv") << "file\tnotes\nholiday.wav\tkeep\n";
  EXPECT_TRUE(clip_files_in(listen()).empty());
  std::ofstream(listen() / "clips.tsv")
      << "# listening clips: mix left, stem right\nfile\n../../stolen.wav\t\n/etc/x.wav\t\n"
         "..\t\n\nnotes.txt\ngood.wav\tkeeper\n";
  EXPECT_EQ(clip_files_in(listen()), (std::vector<fs::path>{"clips.tsv", "good.wav"}));
}

TEST_F(ListeningClips, OfAStemThatCannotBeReadFailAsOutput) {
  std::ofstream(stems() / "mate.wav", std::ios::trunc) << "gone";
  const auto clips = write({at(1, ClipReason::seam, 50.0)});
  ASSERT_FALSE(clips);
  EXPECT_EQ(clips.error().kind, ErrorKind::cannot_write);
  EXPECT_EQ(clips.error().file, stems() / "mate.wav");
  fs::remove(stems() / "mixdown.wav");
  EXPECT_EQ(write({at(0, ClipReason::seam, 50.0)}).error().kind, ErrorKind::cannot_write);
}

TEST_F(ListeningClips, OfATrackWithoutAStemAreNone) {
  report_.stems[0].file.clear();
  const auto clips = write({at(0, ClipReason::seam, 50.0)});
  ASSERT_TRUE(clips);
  EXPECT_TRUE(clips->empty());
}

TEST_F(ListeningClips, GiveUpWhenInterrupted) {
  const std::atomic<bool> stop{true};
  const auto clips = write_clips(lineup_, report_, stems(), listen(),
                                 {at(0, ClipReason::seam, 50.0)}, {.progress = {}, .stop = &stop});
  ASSERT_FALSE(clips);
  EXPECT_EQ(clips.error().kind, ErrorKind::interrupted);
}

TEST_F(ListeningClips, OfStemsShorterThanAClipHoldThemWhole) {
  report_.frames = 4000;
  const auto clips = write({at(0, ClipReason::start, 10.0), at(0, ClipReason::seam, 10.2)});
  ASSERT_TRUE(clips);
  ASSERT_EQ(clips->size(), 1U);
  EXPECT_EQ(clips->front().length_s, 0.5);
  EXPECT_EQ(clips->front().file, "keeper_00h00m10s_seam.wav");
  report_.stems[1].file = report_.stems[0].file;
  const auto start = write({at(1, ClipReason::start, 10.0)});
  ASSERT_TRUE(start);
  EXPECT_EQ(start->front().at_s, 10.5);  // within
}

}  // namespace
}  // namespace kilter::conform
