#include "kilter/session/split_takes.h"

#include <gtest/gtest.h>
#include <sndfile.h>

#include <cstdio>
#include <random>

#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::session {
namespace {

namespace fs = std::filesystem;
using test::Samples;

constexpr int kRateHz = 48000;

struct NameCase {
  const char* first;
  const char* second;
  bool next;
};

TEST(NumberedNames, TellHowManyFilesLieBetween) {
  EXPECT_EQ(files_between("rec_0001.wav", "rec_0004.wav"), 2);
  EXPECT_EQ(files_between("rec_9.wav", "REC_11.wav"), 1);
  EXPECT_EQ(files_between("rec_0004.wav", "rec_0001.wav"), std::nullopt);
  EXPECT_EQ(files_between("rec_1_1.wav", "rec_2_3.wav"), std::nullopt);
}

TEST(NumberedNames, ComeInARowWhereOneNumberGoesUpByOne) {
  const NameCase cases[] = {{"rec_0001.wav", "rec_0002.wav", true},
                            {"rec_0009.wav", "REC_0010.WAV", true},
                            {"take 9.wav", "take 10.wav", true},
                            {"240309_001.wav", "240309_002.wav", true},
                            {"rec_0001.wav", "rec_0003.wav", false},
                            {"rec_0002.wav", "rec_0001.wav", false},
                            {"rec_0001.wav", "rec_0001.wav", false},
                            {"rec_0001.wav", "desk_0002.wav", false},
                            {"rec_0001.wav", "rec_0002.flac", false},
                            {"a1_b1.wav", "a2_b2.wav", false},
                            {"rec_9.wav", "rec_010.wav", false},
                            {"keeper.wav", "keeper2.wav", false},
                            {"1700000000001.wav", "1700000000002.wav", false}};
  for (const NameCase& each : cases)
    EXPECT_EQ(files_between(each.first, each.second) == 0, each.next)
        << each.first << ' ' << each.second;
}

/// A room at rest and a microphone's own noise.
Samples room(std::size_t frames, std::uint32_t seed) {
  std::mt19937 generator(seed);
  std::normal_distribution<float> normal;
  Samples sound(frames);
  float low = 0.0F;
  float lower = 0.0F;
  for (float& sample : sound) {
    low += 0.1F * (normal(generator) - low);
    lower += 0.05F * (low - lower);
    sample = 0.02F * (lower + 0.0005F * normal(generator));
  }
  return sound;
}

Samples part(const Samples& whole, std::size_t from, std::size_t to) {
  return {whole.begin() + static_cast<std::ptrdiff_t>(from),
          whole.begin() + static_cast<std::ptrdiff_t>(to)};
}

class CardOf : public testing::Test {
 protected:
  void write(const std::string& name, const std::vector<Samples>& channels,
             std::int64_t stamp_frames = 0) const {
    SF_INFO info{};
    info.samplerate = kRateHz;
    info.channels = static_cast<int>(channels.size());
    info.format = SF_FORMAT_WAV | SF_FORMAT_PCM_24;
    SNDFILE* file = sf_open((folder_ / name).c_str(), SFM_WRITE, &info);
    ASSERT_NE(file, nullptr);
    if (stamp_frames > 0) {
      SF_BROADCAST_INFO stamp{};
      stamp.version = 2;
      stamp.time_reference_low = static_cast<std::uint32_t>(stamp_frames);
      stamp.time_reference_high = static_cast<std::uint32_t>(stamp_frames >> 32);
      ASSERT_EQ(sf_command(file, SFC_SET_BROADCAST_INFO, &stamp, sizeof stamp), SF_TRUE);
    }
    Samples interleaved;
    for (std::size_t i = 0; i < channels[0].size(); ++i)
      for (const Samples& channel : channels) interleaved.push_back(channel[i]);
    const auto frames = static_cast<sf_count_t>(channels[0].size());
    EXPECT_EQ(sf_writef_float(file, interleaved.data(), frames), frames);
    sf_close(file);
  }
  /// The recordings: the files of each, in order.
  std::vector<std::vector<std::string>> takes() const {
    auto session = open_session({folder_.path()}, {});
    if (!session) return {};
    join_split_takes(*session);
    std::vector<std::vector<std::string>> result;
    for (const SessionFile& file : session->files) {
      result.push_back({file.name});
      for (const FilePart& later : file.later_parts) result.back().push_back(later.name);
    }
    return result;
  }

  using Names = std::vector<std::pair<std::string, std::string>>;
  /// But for those that are equally long.
  Names not_joined() const {
    auto session = open_session({folder_.path()}, {});
    if (!session) return {};
    join_split_takes(*session);
    Names names;
    for (const NumberedPair& pair : session->not_joined)
      if (!pair.may_be_mics) names.emplace_back(pair.first, pair.second);
    return names;
  }

  test::TemporaryFolder folder_;
};

using Takes = std::vector<std::vector<std::string>>;

TEST_F(CardOf, ASplitTakeIsOneRecording) {
  const Samples a = room(50000, 1);
  const Samples b = room(50000, 2);
  for (int i = 0; i < 3; ++i) {
    const std::size_t from = 20000 * static_cast<std::size_t>(i);
    const std::size_t to = std::min<std::size_t>(from + 20000, a.size());
    write("rec_000" + std::to_string(i + 1) + ".wav", {part(a, from, to), part(b, from, to)});
  }
  write("guest.wav", {room(30000, 3)});
  EXPECT_EQ(takes(), (Takes{{"guest.wav"}, {"rec_0001.wav", "rec_0002.wav", "rec_0003.wav"}}));
}

TEST_F(CardOf, ASilentJointIsBelievedWhereTheOthersOfItsRowGoOn) {
  std::vector<Samples> channels{room(80000, 1), room(80000, 2)};
  for (Samples& channel : channels)
    std::fill(channel.begin() + 38000, channel.begin() + 50000, 0.0F);  // over the second joint
  for (std::size_t i = 0; i < 4; ++i) {
    std::vector<Samples> parts;
    for (const Samples& channel : channels)
      parts.push_back(part(channel, 22000 * i, std::min<std::size_t>(22000 * (i + 1), 80000)));
    write("rec_000" + std::to_string(i + 1) + ".wav", parts);
  }
  EXPECT_EQ(takes(), (Takes{{"rec_0001.wav", "rec_0002.wav", "rec_0003.wav", "rec_0004.wav"}}));
}

TEST_F(CardOf, MicrophonesSideBySideStayApart) {
  for (std::uint32_t i = 1; i <= 4; ++i)
    write("mic-" + std::to_string(i) + ".wav", {room(20000, i)});
  EXPECT_EQ(takes().size(), 4U);
  EXPECT_EQ(not_joined(), Names{});
}

TEST_F(CardOf, MicrophonesSideBySideOfOtherLengthsStayApart) {
  // The lengths go down as those of a split take do: only the sound and the stamps tell.
  for (std::uint32_t i = 1; i <= 4; ++i)
    write("mic-" + std::to_string(i) + ".wav", {room(30000 - 1000 * i, i)}, 48000 * 36000);
  EXPECT_EQ(takes().size(), 4U);
  EXPECT_EQ(not_joined(), Names{});
}

TEST_F(CardOf, WhatIsKnownToLieEndToEndCanBeJoinedLater) {
  for (std::uint32_t i = 1; i <= 3; ++i)
    write("rec_" + std::to_string(i) + ".wav", {room(20000, i)});
  auto session = open_session({folder_.path()}, {});
  ASSERT_TRUE(session);
  join_split_takes(*session);
  ASSERT_EQ(session->not_joined.size(), 2U);
  EXPECT_TRUE(session->not_joined.front().may_be_mics);
  for (const NumberedPair& pair : session->not_joined) join(pair, *session);
  ASSERT_EQ(session->files.size(), 1U);
  ASSERT_EQ(session->files[0].later_parts.size(), 2U);
  EXPECT_EQ(session->files[0].later_parts[0].name, "rec_2.wav");
  EXPECT_EQ(session->files[0].later_parts[1].name, "rec_3.wav");
}

TEST_F(CardOf, TakesOfSeveralMicrophonesAreToldApart) {
  for (const char* mic : {"1", "2"}) {
    const Samples sound = room(50000, static_cast<std::uint32_t>(mic[0]));
    write(std::string("mic") + mic + "_001.wav", {part(sound, 0, 30000)});
    write(std::string("mic") + mic + "_002.wav", {part(sound, 30000, 50000)});
  }
  EXPECT_EQ(takes(), (Takes{{"mic1_001.wav", "mic1_002.wav"}, {"mic2_001.wav", "mic2_002.wav"}}));
}

TEST_F(CardOf, ATakeThatDoesNotGoOnIsANewOne) {
  write("rec_0001.wav", {room(40000, 1), room(40000, 2)});
  write("rec_0002.wav", {room(30000, 3), room(30000, 4)});
  EXPECT_EQ(takes().size(), 2U);
  EXPECT_EQ(not_joined(), (Names{{"rec_0001.wav", "rec_0002.wav"}}));
}

TEST_F(CardOf, StampsTellWhereTheSoundIsSilent) {
  const Samples silence(30000, 0.0F);
  constexpr std::int64_t kTen = std::int64_t{48000} * 36000;
  write("rec_0001.wav", {silence}, kTen);
  write("rec_0002.wav", {silence}, kTen + 30000);
  write("gap_0001.wav", {silence}, kTen);
  write("gap_0002.wav", {silence}, kTen + 300000);
  write("none_0001.wav", {silence});
  write("none_0002.wav", {silence});
  EXPECT_EQ(takes(), (Takes{{"gap_0001.wav"},
                            {"gap_0002.wav"},
                            {"none_0001.wav"},
                            {"none_0002.wav"},
                            {"rec_0001.wav", "rec_0002.wav"}}));
}

TEST_F(CardOf, SoundBeatsAStampThatIsWrong) {
  const Samples a = room(50000, 1);
  const Samples b = room(50000, 2);
  const Samples c = room(50000, 5);
  write("rec_0001.wav", {part(a, 0, 30000), part(b, 0, 30000), part(c, 0, 30000)}, 48000 * 36000);
  write("rec_0002.wav", {part(a, 30000, 50000), part(b, 30000, 50000), part(c, 30000, 50000)},
        48000 * 100);
  EXPECT_EQ(takes().size(), 1U);
}

TEST_F(CardOf, FilesOfOtherFormatsAreNoParts) {
  const Samples a = room(50000, 1);
  write("rec_0001.wav", {part(a, 0, 30000)});
  write("rec_0002.wav", {part(a, 30000, 50000), part(a, 30000, 50000)});
  test::write_text(folder_ / "rec_0003.wav", "not a recording");
  EXPECT_EQ(takes().size(), 3U);
}

TEST_F(CardOf, WhatSessionTomlNamesIsLeftAsItIsTold) {
  const Samples a = room(50000, 1);
  write("rec_0001.wav", {part(a, 0, 30000)});
  write("rec_0002.wav", {part(a, 30000, 50000)});
  test::write_text(folder_ / "session.toml", "[[track]]\nparts = [\"rec_0002.wav\"]\n");
  EXPECT_EQ(takes().size(), 2U);
}

}  // namespace
}  // namespace kilter::session
