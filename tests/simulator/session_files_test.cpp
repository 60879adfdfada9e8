#include "session_files.h"

#include <gtest/gtest.h>

#include <nlohmann/json.hpp>
#include <ostream>

#include "kilter/media/audio_file.h"
#include "support/temporary_folder.h"

namespace kilter::simulator {
namespace {

Session small_session(Coding mix, Coding stored) {
  SessionSpec spec = hybrid_session(2, 6.0, 1, 1);
  for (Clock& clock : spec.recorders) clock.start_s = -1.25;
  spec.mix.coding = mix;
  spec.people[1].stored = stored;
  auto session = simulate(spec, SyntheticVoices(2), 1);
  EXPECT_TRUE(session);
  return *std::move(session);
}

std::vector<float> read_all(const std::filesystem::path& file, double& rate_hz) {
  auto audio = media::open_audio(file);
  if (!audio) return {};
  rate_hz = audio->info.rate.hz;
  std::vector<float> sound(2'000'000);
  std::size_t at = 0;
  while (true) {
    const auto got = audio->source->read(std::span(sound).subspan(at));
    if (!got || got->n == 0) break;
    at += static_cast<std::size_t>(got->n);
  }
  sound.resize(at);
  return sound;
}

void expect_same(const std::vector<float>& read, const std::vector<float>& made, double tolerance) {
  ASSERT_EQ(read.size(), made.size());
  for (std::size_t i = 0; i < made.size(); ++i) ASSERT_NEAR(read[i], made[i], tolerance) << i;
}

struct WritingCase {
  const char* name;
  FileOptions options;
  Coding mix;
  Coding stored;
  const char* mix_file;
  const char* guest_file;
};
void PrintTo(const WritingCase& c, std::ostream* out) { *out << c.name; }

class Writing : public testing::TestWithParam<WritingCase> {};

TEST_P(Writing, KeepsEverySample) {
  const WritingCase& c = GetParam();
  const Session session = small_session(c.mix, c.stored);
  const test::TemporaryFolder folder;
  ASSERT_TRUE(write_session(session, folder / "made", c.options));
  // Rounding is at most half a step. Coded files decode to the session's samples; two decoders of
  // one codec differ as single precision does in a few hundred operations.
  const bool two_decoders = c.mix.codec == Codec::mp3 || c.stored.codec == Codec::mp3;
  const double tolerance = c.options.bits == 16 ? 0.51 / 32768
                           : two_decoders       ? 1e-6
                                                : 0.51 / 8388608;
  double rate_hz = 0.0;
  expect_same(read_all(folder / "made" / c.mix_file, rate_hz), session.mix, tolerance);
  EXPECT_EQ(rate_hz, 48000.0);
  expect_same(read_all(folder / "made" / c.guest_file, rate_hz), session.tracks[1].samples,
              tolerance);
  EXPECT_EQ(rate_hz, 44100.0);
}

INSTANTIATE_TEST_SUITE_P(
    All, Writing,
    testing::Values(
        WritingCase{"Wav24", {}, {}, {}, "mixdown.wav", "pilot.wav"},
        WritingCase{"Flac16", {true, 16, "mix"}, {}, {}, "mix.flac", "pilot.flac"},
        WritingCase{"Lossy",
                    {true, 24, "mix"},
                    {Codec::opus, 64},
                    {Codec::vorbis, 64},
                    "mix.opus",
                    "pilot.ogg"},
        WritingCase{"Mp3", {}, {Codec::mp3, 128}, {Codec::mp3, 64}, "mixdown.mp3", "pilot.mp3"}),
    [](const auto& each) { return each.param.name; });

TEST(WriteSession, GivesTheSameBytesAgain) {
  const Session session = small_session({}, {});
  const test::TemporaryFolder folder;
  const FileOptions options{true, 16, "mix"};
  ASSERT_TRUE(write_session(session, folder / "a", options));
  ASSERT_TRUE(write_session(session, folder / "b", options));
  const std::string bytes = test::read_text(folder / "a/mix.flac");
  EXPECT_GT(bytes.size(), 1000U);
  EXPECT_EQ(bytes, test::read_text(folder / "b/mix.flac"));
}

TEST(WriteSession, SaysWhereItCannotWrite) {
  const Session session = small_session({}, {});
  const test::TemporaryFolder folder;
  test::write_text(folder / "made", "a file where the folder should be");
  const auto done = write_session(session, folder / "made", {});
  ASSERT_FALSE(done);
  EXPECT_EQ(done.error().kind, ErrorKind::cannot_write);
}

TEST(WriteTruth, TellsTheMapInFull) {
  const Session session = small_session({}, {});
  const test::TemporaryFolder folder;
  ASSERT_TRUE(write_truth(session, folder / "truth.json", {}));
  const auto truth = nlohmann::json::parse(test::read_text(folder / "truth.json"));
  const auto& track = truth["tracks"][1];
  EXPECT_EQ(track["file"], "pilot.wav");
  EXPECT_EQ(track["role"], "remote");
  EXPECT_EQ(track["frames"], session.tracks[1].samples.size());
  EXPECT_EQ(track["start_s"].get<double>(), -1.25);
  EXPECT_NEAR(track["drift_ppm"].get<double>(), session.tracks[1].clock.drift_ppm, 1e-6);
  for (const auto& point : track["points"])
    EXPECT_EQ(point[1].get<double>(), session.line_of(1, point[0].get<double>()));
  EXPECT_EQ(truth["mix"]["frames"], 6 * 48000);
  EXPECT_EQ(truth["talk"].size(), session.talk.size());
}

}  // namespace
}  // namespace kilter::simulator
