// A recorder's card and a download folder dragged together, and one command without options.
#include <gtest/gtest.h>
#include <sndfile.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <map>

#include "kilter/edits/lineup_file.h"
#include "kilter/media/audio_file.h"
#include "run_kilter.h"
#include "simulator/session_files.h"
#include "simulator/simulator.h"
#include "simulator/sound_delay.h"
#include "stem_truth.h"
#include "support/ffmpeg_tool.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter {
namespace {

namespace fs = std::filesystem;

constexpr double kLimit_us = 50.0;

/// Six inputs of one recorder, in the order of a mixer that puts its own mix first: two for that,
/// three microphones, and one where nothing is plugged in. Two guests, one of whom sent an MP3; the
/// other's becomes an M4A where there is an encoder.
simulator::SessionSpec card_session() {
  auto spec = simulator::hybrid_session(31, 100.0, 3, 2);
  spec.recorders[0].start_s = -6.4;
  spec.recorders[1].rate_hz = 48000.0;
  spec.recorders[1].start_s = -3.1;
  spec.recorders[2].start_s = 1.7;
  spec.people[3].stored = {simulator::Codec::mp3, 128.0};
  spec.mix.coding = {simulator::Codec::mp3, 128.0};
  simulator::Person input = spec.people[0];
  input.talk_share.reset();
  for (const auto& [name, kind] : {std::pair{"bus-left", simulator::Input::mixer_mix},
                                   std::pair{"bus-right", simulator::Input::mixer_mix},
                                   std::pair{"empty", simulator::Input::dead}}) {
    input.name = name;
    input.input = kind;
    spec.people.push_back(input);
  }
  return spec;
}

class MemoryCard : public testing::Test {
 protected:
  void SetUp() override {
    auto made = simulator::simulate(card_session(), simulator::SyntheticVoices(31), 2);
    ASSERT_TRUE(made) << made.error().what;
    truth_ = *std::move(made);
    ASSERT_TRUE(simulator::write_session(truth_, work_ / "show", {}));
    if (test::has_ffmpeg() && media::reads_video_files()) {
      const fs::path wav = work_ / "show" / (name_of(4) + ".wav");
      ASSERT_TRUE(test::code_with_ffmpeg(wav, "-c:a aac -b:a 128k",
                                         work_ / "show" / (name_of(4) + ".m4a")));
      fs::remove(wav);
    }
    put_on_card({"bus-left", "bus-right", name_of(0), name_of(1), name_of(2), "empty"});
  }

  std::string name_of(std::size_t person) const { return truth_.tracks[person].name; }
  std::size_t index_of(const std::string& name) const {
    const auto found = std::find_if(truth_.tracks.begin(), truth_.tracks.end(),
                                    [&](const auto& track) { return track.name == name; });
    return static_cast<std::size_t>(found - truth_.tracks.begin());
  }

  /// The inputs' own files become one file of six channels, which the recorder split in three.
  void put_on_card(const std::vector<std::string>& inputs) {
    const std::size_t frames = truth_.tracks[index_of(inputs[0])].samples.size();
    const std::size_t full = frames * 2 / 5;
    for (int part = 0; part < 3; ++part) {
      const std::size_t from = full * static_cast<std::size_t>(part);
      const std::size_t to = std::min(from + full, frames);
      std::vector<test::Samples> channels;
      for (const std::string& input : inputs) {
        const auto& samples = truth_.tracks[index_of(input)].samples;
        ASSERT_EQ(samples.size(), frames);
        channels.emplace_back(samples.begin() + static_cast<std::ptrdiff_t>(from),
                              samples.begin() + static_cast<std::ptrdiff_t>(to));
      }
      test::write_sound(work_ / "show" / ("240309_000" + std::to_string(part + 1) + ".wav"),
                        channels, 48000, SF_FORMAT_WAV | SF_FORMAT_PCM_24);
    }
    for (const std::string& input : inputs) fs::remove(work_ / "show" / (input + ".wav"));
  }

  test::TemporaryFolder work_;
  simulator::Session truth_;
};

TEST_F(MemoryCard, BecomesTheRightStems) {
  const auto told =
      test::run_kilter({"conform", (work_ / "show").string(), "--out", (work_ / "done").string()});
  EXPECT_EQ(told.exit, 0) << told.out << told.err;
  const auto lineup = edits::read_lineup(work_ / "done" / "lineup.json");
  ASSERT_TRUE(lineup) << lineup.error().what;
  std::map<std::string, const LineupTrack*> found;
  for (const LineupTrack& track : lineup->tracks) found[track.name] = &track;

  for (const char* bus : {"240309_0001-ch1", "240309_0001-ch2"}) {
    ASSERT_TRUE(found.contains(bus)) << told.out;
    EXPECT_EQ(found[bus]->role, Role::mix) << bus;
    EXPECT_FALSE(fs::exists(work_ / "done" / "stems" / (std::string(bus) + ".wav")));
  }
  for (std::size_t person = 0; person < 3; ++person) {
    const std::string name = "240309_0001-ch" + std::to_string(person + 3);
    ASSERT_TRUE(found.contains(name)) << told.out;
    EXPECT_EQ(found[name]->standing, Standing::firm) << told.out;
    EXPECT_EQ(found[name]->parts.size(), 3U);
    const auto stem = test::read_all(work_ / "done" / "stems" / (name + ".wav"));
    ASSERT_EQ(stem.size(), truth_.mix.size());
    // Of the joints one lies at 34 s of the timeline, the other at 74.
    for (const double from_s : {12.0, 34.0, 74.0, 95.0}) {
      const auto expected = test::true_piece(truth_, person, from_s, 1.0);
      const double error_us =
          1e6 * simulator::mean_delay_s(expected, test::piece(stem, from_s, 1.0, 48000.0), 48000.0);
      EXPECT_LT(std::abs(error_us), kLimit_us) << name << " at " << from_s;
    }
  }
  EXPECT_FALSE(found.contains("240309_0001-ch6"));
  EXPECT_NE(told.out.find("Channel 6 of \"240309_0001.wav\""), std::string::npos) << told.out;
  for (std::size_t person = 3; person < 5; ++person) {
    const auto& guest = truth_.tracks[person];
    ASSERT_TRUE(found.contains(guest.name)) << told.out;
    const LineupTrack& track = *found[guest.name];
    EXPECT_EQ(track.standing, Standing::firm);
    for (const double track_s : {5.0, 50.0, 90.0}) {
      const double true_s = guest.line_of(track_s);
      EXPECT_NEAR(track.map->to_line(track_s).value(), true_s, 1e-6 * kLimit_us) << guest.name;
    }
  }
}

}  // namespace
}  // namespace kilter
