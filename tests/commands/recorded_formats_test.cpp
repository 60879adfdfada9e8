// A session whose guests sent what their devices made: a video, a browser's recording with lost
// packets, and a phone's. From the files to the lineup.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <sstream>
#include <string>
#include <vector>

#include "kilter/edits/lineup_file.h"
#include "kilter/media/audio_file.h"
#include "run_kilter.h"
#include "simulator/session_files.h"
#include "simulator/simulator.h"
#include "simulator/sound_delay.h"
#include "support/ffmpeg_tool.h"
#include "support/temporary_folder.h"

namespace kilter {
namespace {

namespace fs = std::filesystem;

constexpr double kRateHz = 48000.0;
constexpr int kPeopleInRoom = 2;
// Codecs shift frequencies against each other by some microseconds; a frame is 21.
constexpr double kPlacedWithin_s = 50e-6;

class RecordedFormats : public testing::Test {
 protected:
  void SetUp() override {
    if (!test::has_ffmpeg()) GTEST_SKIP() << "the ffmpeg command is not there: install ffmpeg";
    if (!media::reads_video_files()) GTEST_SKIP() << "this build does not read such files";
    auto spec = simulator::hybrid_session(31, 100.0, kPeopleInRoom, 3);
    for (simulator::Clock& clock : spec.recorders) clock.rate_hz = kRateHz;
    auto made = simulator::simulate(spec, simulator::SyntheticVoices(31), 2);
    ASSERT_TRUE(made) << made.error().what;
    truth_ = *std::move(made);
    ASSERT_TRUE(simulator::write_session(truth_, show(), {}));
  }

  fs::path show() const { return work_ / "show"; }
  const simulator::SimulatedTrack& guest(std::size_t number) const {
    return truth_.tracks.at(kPeopleInRoom + number);
  }
  fs::path wav_of(std::size_t number) const { return show() / (guest(number).name + ".wav"); }
  fs::path file_of(std::size_t number, const std::string& ending) const {
    return show() / (guest(number).name + ending);
  }

  /// The sound begins 80 ms after the picture.
  void record_as_video(std::size_t number, const std::string& coding,
                       const std::string& ending) const {
    std::vector<std::string> arguments =
        test::words_of("-f lavfi -i color=s=64x48:r=25:d=100 -itsoffset 0.08 -i");
    arguments.push_back(wav_of(number).string());
    for (std::string& word : test::words_of(coding)) arguments.push_back(std::move(word));
    arguments.push_back(file_of(number, ending).string());
    ASSERT_TRUE(test::run_ffmpeg(arguments));
    fs::remove(wav_of(number));
  }
  /// Fifteen packets of 20 ms are lost, after half a minute.
  void record_in_browser(std::size_t number) const {
    ASSERT_TRUE(test::code_with_ffmpeg(wav_of(number), "-c:a libopus -b:a 96k", work_ / "a.webm"));
    ASSERT_TRUE(test::code_with_ffmpeg(
        work_ / "a.webm", "-c copy -bsf:a noise=amount=0:drop='gte(n\\,1500)*lt(n\\,1515)'",
        file_of(number, ".webm")));
    fs::remove(wav_of(number));
  }
  void record_on_phone(std::size_t number) const {
    ASSERT_TRUE(
        test::code_with_ffmpeg(wav_of(number), "-c:a aac -b:a 128k", file_of(number, ".m4a")));
    fs::remove(wav_of(number));
  }

  /// How much later the file, as it is read, holds the guest's sound than his recorder made it.
  double read_delay_s(std::size_t number, const std::string& ending) const {
    auto audio = media::open_audio(file_of(number, ending));
    EXPECT_TRUE(audio) << audio.error().what;
    if (!audio) return 0.0;
    std::vector<float> heard(guest(number).samples.size());
    std::size_t total = 0;
    while (total < heard.size()) {
      const auto got = audio->source->read(std::span(heard).subspan(total));
      if (!got || got->n == 0) break;
      total += static_cast<std::size_t>(got->n);
    }
    return simulator::mean_delay_s(guest(number).samples, heard, kRateHz);
  }

  void expect_placed(const Lineup& lineup, std::size_t number, double delay_s) const {
    const auto found =
        std::find_if(lineup.tracks.begin(), lineup.tracks.end(),
                     [&](const LineupTrack& track) { return track.name == guest(number).name; });
    ASSERT_NE(found, lineup.tracks.end());
    ASSERT_TRUE(found->map) << found->name;
    EXPECT_EQ(found->standing, Standing::firm) << found->name;
    for (const double track_s : {5.0, 50.0, 90.0})
      EXPECT_NEAR(found->map->to_line(track_s).value_or(0.0),
                  guest(number).line_of(track_s - delay_s), kPlacedWithin_s)
          << found->name << " at " << track_s;
  }

  simulator::Session truth_;
  test::TemporaryFolder work_;
};

TEST_F(RecordedFormats, AreAlignedByTheirFirstDecodedFrame) {
  record_as_video(0, "-c:v mpeg4 -c:a aac -b:a 128k", ".mp4");
  record_in_browser(1);
  record_on_phone(2);

  const test::Told told =
      test::run_kilter({"align", show().string(), "--lineup", (work_ / "found.json").string()});
  EXPECT_EQ(told.exit, 1) << told.out << told.err;  // sound was lost
  EXPECT_NE(told.out.find("Sound is missing in 1 place"), std::string::npos) << told.out;
  EXPECT_NE(told.out.find("300 ms in all"), std::string::npos) << told.out;
  const auto lineup = edits::read_lineup(work_ / "found.json");
  ASSERT_TRUE(lineup) << lineup.error().what;

  struct Row {
    const char* ending;
    double lead_in_s;  // that no container stated
  };
  const std::vector<Row> rows{{".mp4", 1024.0 / kRateHz}, {".webm", 0.0}, {".m4a", 0.0}};
  for (std::size_t i = 0; i < rows.size(); ++i) {
    const double delay_s = read_delay_s(i, rows[i].ending);
    EXPECT_NEAR(delay_s, rows[i].lead_in_s, kPlacedWithin_s) << rows[i].ending;
    expect_placed(*lineup, i, delay_s);
  }
}

/// Seconds of hh:mm:ss:ff at 25 frames a second.
double label_s(const std::string& label) {
  return 3600.0 * std::stoi(label) + 60.0 * std::stoi(label.substr(3)) +
         std::stoi(label.substr(6)) + std::stoi(label.substr(9)) / 25.0;
}

TEST_F(RecordedFormats, AreListedWithTheirPictureByTheirOwnTimecode) {
  record_as_video(0, "-c:v mjpeg -c:a pcm_s24le -timecode 10:00:00:12", ".mov");
  const test::Told told =
      test::run_kilter({"conform", show().string(), "--out", (work_ / "done").string()});
  ASSERT_LE(told.exit, 1) << told.err;
  std::istringstream list(test::read_text(work_ / "done" / "edits" / "show.edl"));
  int pictures = 0;
  for (std::string line; std::getline(list, line);) {
    // Fields stand in columns: reel, channels, and four times.
    if (line.size() < 76 || line.substr(14, 4) != "V   ") continue;
    ++pictures;
    const double source_s = label_s(line.substr(29, 11));
    const double record_s = label_s(line.substr(53, 11));
    // At that record time the sound is this much into the file, and the picture 80 ms further.
    const double line_s = record_s - 3600.0;
    double sound_s = line_s - guest(0).line_of(0.0);
    sound_s += line_s - guest(0).line_of(sound_s);  // a drift is parts per million
    const double exact_s = 36000.0 + 12.0 / 25.0 + 0.08 + sound_s;
    EXPECT_NEAR(source_s, exact_s, 0.0201) << line;
    double told_ms = 1e9;
    for (std::string comment; list.peek() == '*' && std::getline(list, comment);) {
      const std::size_t at = comment.find("* PICTURE ");
      if (at == std::string::npos) continue;
      told_ms = std::stod(comment.substr(at + 10));
      if (comment.find(" LATE ") != std::string::npos) told_ms = -told_ms;
    }
    EXPECT_NEAR(told_ms, 1e3 * (source_s - exact_s), 0.06) << line;
  }
  EXPECT_GE(pictures, 1);
}

}  // namespace
}  // namespace kilter
