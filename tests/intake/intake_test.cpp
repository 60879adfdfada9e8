#include "kilter/intake/intake.h"

#include <gtest/gtest.h>
#include <sndfile.h>

#include <cmath>
#include <limits>

#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::intake {
namespace {

using test::Samples;

class Intake : public testing::Test {
 protected:
  IntakeOptions options() const {
    IntakeOptions options;
    options.threads = 2;
    options.scratch_folder = folder_.path();
    return options;
  }

  test::TemporaryFolder folder_;
};

TEST_F(Intake, KeepsTheSoundAt16KilohertzWithoutMovingIt) {
  test::write_sound(folder_ / "a.wav", {test::sine(96000, 440.0, 48000.0, 0.5)}, 48000);
  const auto file = take_in(folder_ / "a.wav", options());
  ASSERT_TRUE(file);
  EXPECT_EQ(file->length.n, 96000);
  ASSERT_EQ(file->channels.size(), 1U);
  const AnalysisSignal& signal = *file->channels[0].signal;
  EXPECT_EQ(signal.frames(), 32000);
  Samples got(1000);
  ASSERT_TRUE(signal.read(10000, got));
  const Samples expected = test::sine(11000, 440.0, 16000.0, 0.5);
  // The reducer is flat within 0.1 dB: 1.2 % of 0.5. A shift of one frame would show as 17 %.
  for (std::size_t i = 0; i < got.size(); ++i) ASSERT_NEAR(got[i], expected[10000 + i], 0.006);
}

TEST_F(Intake, MeasuresWithoutKeepingTheSoundWhenNotAsked) {
  test::write_sound(folder_ / "a.wav", {test::sine(48000, 440.0, 48000.0, 0.5)}, 48000);
  IntakeOptions levels_only = options();
  levels_only.keep_signals = false;
  const auto file = take_in(folder_ / "a.wav", levels_only);
  ASSERT_TRUE(file);
  EXPECT_FALSE(file->channels[0].signal);
  EXPECT_NEAR(file->channels[0].levels.peak_dbfs, -6.02, 0.01);
}

TEST_F(Intake, PassesOnWhatTheReaderNoticed) {
  Samples sound = test::noise(30000, 0.1F, 1);
  sound[20000] = std::numeric_limits<float>::quiet_NaN();
  test::write_sound(folder_ / "a.wav", {sound}, 48000);
  const auto file = take_in(folder_ / "a.wav", options());
  ASSERT_TRUE(file);
  EXPECT_EQ(file->notes.not_numbers, 1);
  EXPECT_EQ(file->notes.first_not_number.n, 20000);
}

TEST_F(Intake, NotesChannelsWithTheSameSamples) {
  const Samples a = test::noise(30000, 0.1F, 1);
  Samples almost = a;
  almost.at(29999) += 0.001F;
  const Samples b = test::noise(30000, 0.1F, 2);
  test::write_sound(folder_ / "desk.wav", {a, b, a, almost, b}, 48000);
  const auto file = take_in(folder_ / "desk.wav", options());
  ASSERT_TRUE(file);
  std::vector<int> twins;
  for (const IntakeChannel& channel : file->channels) twins.push_back(channel.same_as);
  EXPECT_EQ(twins, (std::vector<int>{-1, -1, 0, -1, 1}));
  EXPECT_TRUE(file->channels[3].signal);
  EXPECT_FALSE(file->channels[4].signal);
}

TEST_F(Intake, HearsOneChannelAloneWhereTheyCancel) {
  const Samples one = test::noise(48000, 0.3F, 1);
  const Samples other = test::noise(48000, 0.3F, 2);
  Samples upside_down = one;
  for (float& sample : upside_down) sample *= -1.1F;
  struct Row {
    const char* name;
    std::vector<Samples> channels;
    bool cancel;
  };
  for (const Row& row :
       {Row{"upside down", {one, upside_down}, true}, Row{"alike", {one, one}, false},
        Row{"apart", {one, other}, false}, Row{"one silent", {one, Samples(48000, 0.0F)}, false}}) {
    test::write_sound(folder_ / "a.wav", row.channels, 48000);
    const auto file = take_in(folder_ / "a.wav", options());
    ASSERT_TRUE(file);
    EXPECT_EQ(file->channels_cancel(), row.cancel) << row.name;
    const auto whole = whole_signal(*file);
    ASSERT_TRUE(whole);
    EXPECT_EQ(whole == file->channels[1].signal, row.cancel);
    Samples heard(8000);
    ASSERT_TRUE(whole->read(4000, heard));
    double power = 0.0;
    for (const float sample : heard) power += static_cast<double>(sample * sample);
    EXPECT_GT(std::sqrt(power / 8000.0), 0.02) << row.name;
  }
}

TEST_F(Intake, ReadsTheGoodFilesBesideABrokenOne) {
  test::write_sound(folder_ / "a.wav", {test::noise(30000, 0.1F, 1)}, 48000);
  test::write_text(folder_ / "b.wav", "Dear keepers, my recording is attached.\n");
  test::write_sound(folder_ / "c.wav", {test::noise(20000, 0.1F, 2)}, 44100);
  const auto files = take_in_all(
      {folder_ / "a.wav", folder_ / "b.wav", folder_ / "c.wav", folder_ / "missing.wav"},
      options());
  ASSERT_EQ(files.size(), 4U);
  ASSERT_TRUE(files[0]);
  EXPECT_EQ(files[0]->length.n, 30000);
  ASSERT_FALSE(files[1]);
  EXPECT_EQ(files[1].error().kind, ErrorKind::unreadable);
  EXPECT_EQ(files[1].error().file, folder_ / "b.wav");
  ASSERT_TRUE(files[2]);
  EXPECT_EQ(files[2]->length.n, 20000);
  ASSERT_FALSE(files[3]);
  EXPECT_EQ(files[3].error().kind, ErrorKind::unreadable);
}

TEST_F(Intake, CountsWhatATruncatedFileStillHolds) {
  test::write_sound(folder_ / "whole.flac", {test::noise(480000, 0.1F, 1)}, 48000,
                    SF_FORMAT_FLAC | SF_FORMAT_PCM_16);
  const std::string bytes = test::read_text(folder_ / "whole.flac");
  test::write_text(folder_ / "cut.flac", bytes.substr(0, bytes.size() / 2));
  const auto file = take_in(folder_ / "cut.flac", options());
  ASSERT_TRUE(file);
  EXPECT_EQ(file->info.claimed_length.n, 480000);
  EXPECT_GT(file->length.n, 200000);
  EXPECT_LT(file->length.n, 280000);
  // One per 3 frames at 48 kHz, rounded up.
  EXPECT_EQ(file->channels[0].signal->frames(), (file->length.n + 2) / 3);
}

TEST_F(Intake, GivesTheSameForAnyThreadCount) {
  std::vector<Recording> files;
  for (std::uint32_t i = 0; i < 5; ++i) {
    const std::filesystem::path file = folder_ / (std::to_string(i) + ".wav");
    files.emplace_back(file);
    test::write_sound(file, {test::noise(20000 + 1000 * i, 0.1F, i)}, 44100);
  }
  IntakeOptions one = options();
  one.threads = 1;
  IntakeOptions four = options();
  four.threads = 4;
  const auto a = take_in_all(files, one);
  const auto b = take_in_all(files, four);
  for (std::size_t i = 0; i < files.size(); ++i) {
    EXPECT_EQ(a[i]->channels[0].digest, b[i]->channels[0].digest);
    const AnalysisSignal& first = *a[i]->channels[0].signal;
    const AnalysisSignal& second = *b[i]->channels[0].signal;
    Samples x(static_cast<std::size_t>(first.frames()));
    Samples y(static_cast<std::size_t>(second.frames()));
    ASSERT_TRUE(first.read(0, x));
    ASSERT_TRUE(second.read(0, y));
    EXPECT_EQ(x, y);
  }
}

TEST_F(Intake, ReadsThePartsOfATakeAsOne) {
  const Samples whole = test::noise(30001, 0.1F, 1);
  const std::vector<std::size_t> ends{0, 10000, 23456, whole.size()};
  Recording recording{std::vector<std::filesystem::path>{}};
  for (std::size_t i = 0; i + 1 < ends.size(); ++i) {
    recording.parts.push_back(folder_ / ("rec_" + std::to_string(i) + ".wav"));
    test::write_sound(recording.parts.back(),
                      {Samples(whole.begin() + static_cast<std::ptrdiff_t>(ends[i]),
                               whole.begin() + static_cast<std::ptrdiff_t>(ends[i + 1]))},
                      48000);
  }
  test::write_sound(folder_ / "whole.wav", {whole}, 48000);
  const auto joined = take_in(recording, options());
  const auto one = take_in(folder_ / "whole.wav", options());
  ASSERT_TRUE(joined && one);
  EXPECT_EQ(joined->length, one->length);
  EXPECT_EQ(joined->info.claimed_length, one->info.claimed_length);
  EXPECT_EQ(joined->channels[0].digest, one->channels[0].digest);
  EXPECT_EQ(joined->part_lengths, (std::vector<Frames>{{10000}, {13456}, {6545}}));
  Samples x(static_cast<std::size_t>(one->channels[0].signal->frames()));
  Samples y(x.size());
  ASSERT_TRUE(one->channels[0].signal->read(0, x));
  ASSERT_TRUE(joined->channels[0].signal->read(0, y));
  EXPECT_EQ(x, y);
}

TEST_F(Intake, LeavesOutPartsThatDoNotGoOnAndSaysSo) {
  test::write_sound(folder_ / "a.wav", {test::noise(9000, 0.1F, 1)}, 48000);
  test::write_sound(folder_ / "b.wav", {test::noise(9000, 0.1F, 2)}, 44100);
  test::write_sound(folder_ / "c.wav", {test::noise(9000, 0.1F, 3)}, 48000);
  for (const char* second : {"b.wav", "missing.wav"}) {
    const auto file =
        take_in(Recording({folder_ / "a.wav", folder_ / second, folder_ / "c.wav"}), options());
    ASSERT_TRUE(file) << second;
    EXPECT_EQ(file->length.n, 9000);
    ASSERT_TRUE(file->damage);
    EXPECT_NE(file->damage->what.find(second), std::string::npos) << file->damage->what;
  }
}

TEST_F(Intake, StopsWhenToldTo) {
  test::write_sound(folder_ / "a.wav", {test::noise(30000, 0.1F, 1)}, 48000);
  const std::atomic<bool> stop{true};
  IntakeOptions stopped = options();
  stopped.stop = &stop;
  const auto file = take_in(folder_ / "a.wav", stopped);
  ASSERT_FALSE(file);
  EXPECT_EQ(file.error().kind, ErrorKind::interrupted);
}

TEST_F(Intake, ReportsProgressUpToTheEnd) {
  std::vector<Recording> files;
  for (std::uint32_t i = 0; i < 3; ++i) {
    const std::filesystem::path file = folder_ / (std::to_string(i) + ".wav");
    files.emplace_back(file);
    test::write_sound(file, {test::noise(50000, 0.1F, i)}, 48000);
  }
  std::vector<double> seen;
  IntakeOptions watched = options();
  watched.progress = [&](double done) { seen.push_back(done); };
  take_in_all(files, watched);
  ASSERT_GT(seen.size(), 3U);
  EXPECT_TRUE(std::is_sorted(seen.begin(), seen.end()));
  // Shares of three files are added up in floating point.
  EXPECT_NEAR(seen.back(), 1.0, 1e-12);
}

TEST_F(Intake, SaysWhenThereIsNoRoomForTheCopies) {
  test::write_sound(folder_ / "a.wav", {test::noise(30000, 0.1F, 1)}, 48000);
  IntakeOptions nowhere = options();
  nowhere.scratch_folder = folder_ / "a.wav";
  const auto file = take_in(folder_ / "a.wav", nowhere);
  ASSERT_FALSE(file);
  EXPECT_EQ(file.error().kind, ErrorKind::cannot_write);
}

}  // namespace
}  // namespace kilter::intake
