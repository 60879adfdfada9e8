#include "codec.h"

#include <gtest/gtest.h>

#include <cmath>
#include <ostream>

#include "voices.h"

namespace kilter::simulator {
namespace {

std::vector<float> speech() {
  std::vector<float> out = SyntheticVoices(3).utterance(0, 0, 10 * kWorldRateHz);
  for (float& x : out) x *= 0.1F;
  return out;
}

struct CodecCase {
  const char* name;
  Coding coding;
  double rate_hz;
  double delay_low_us;
  double delay_high_us;
};
void PrintTo(const CodecCase& c, std::ostream* out) { *out << c.name; }

class CodecTest : public testing::TestWithParam<CodecCase> {};

TEST_P(CodecTest, KeepsLengthTimeAndMostOfTheSound) {
  const CodecCase& c = GetParam();
  const std::vector<float> sound = speech();
  const auto coded = code(sound, c.rate_hz, c.coding);
  ASSERT_TRUE(coded) << coded.error().what;
  ASSERT_EQ(coded->samples.size(), sound.size());
  EXPECT_GE(coded->delay_s * 1e6, c.delay_low_us);
  EXPECT_LE(coded->delay_s * 1e6, c.delay_high_us);
  const auto shift =
      static_cast<std::size_t>(std::max(0.0, std::round(coded->delay_s * c.rate_hz)));
  double product = 0.0;
  double before = 0.0;
  double after = 0.0;
  for (std::size_t i = 0; i + shift < sound.size(); ++i) {
    const double x = sound[i];
    const double y = coded->samples[i + shift];
    product += x * y;
    before += x * x;
    after += y * y;
  }
  EXPECT_GT(product / std::sqrt(before * after), 0.9);
}

// Half a microsecond of margin round what was measured; 1105 frames are the lead-in of an MP3.
INSTANTIATE_TEST_SUITE_P(
    All, CodecTest,
    testing::Values(CodecCase{"Opus96", {Codec::opus, 96}, 48000, -0.5, 0.5},
                    CodecCase{"Opus64", {Codec::opus, 64}, 48000, -0.5, 0.5},
                    CodecCase{"Opus24IsEarly", {Codec::opus, 24}, 48000, -30.0, -1.0},
                    CodecCase{"Vorbis", {Codec::vorbis, 64}, 44100, -0.5, 0.5},
                    CodecCase{"Mp3", {Codec::mp3, 128}, 48000, -0.5, 0.5},
                    CodecCase{"Mp3At44100", {Codec::mp3, 64}, 44100, -0.5, 0.5},
                    CodecCase{"Mp3At24000IsLate", {Codec::mp3, 48}, 24000, 46041.0, 46042.5}),
    [](const auto& each) { return each.param.name; });

TEST(CodecBitRate, IsNearWhatWasAsked) {
  const std::vector<float> sound = speech();
  for (const Coding coding : {Coding{Codec::opus, 32}, {Codec::opus, 96}, {Codec::mp3, 128}}) {
    const auto coded = code(sound, 48000.0, coding);
    ASSERT_TRUE(coded);
    const double kbps = static_cast<double>(coded->bytes.size()) * 8e-3 / 10.0;
    EXPECT_NEAR(kbps, coding.kbps, 0.1 * coding.kbps) << to_text(coding.codec);
  }
}

TEST(CodecWithoutFile, GivesTheSamplesThatTheFileWouldHold) {
  const std::vector<float> sound = speech();
  for (const double kbps : {6.0, 16.0, 32.0, 96.0, 128.0})
    for (const std::size_t length : {48000U, 47000U, 47900U, 47941U, 47700U, 100U, 900U}) {
      const std::span<const float> part(sound.data(), length);
      const auto file = code(part, kWorldRateHz, {Codec::opus, kbps});
      const auto heard = code(part, kWorldRateHz, {Codec::opus, kbps}, CodedFile::not_wanted);
      ASSERT_TRUE(file && heard);
      EXPECT_FALSE(file->bytes.empty());
      EXPECT_TRUE(file->samples == heard->samples) << kbps << " kbit/s, " << length << " frames";
      EXPECT_EQ(file->delay_s, heard->delay_s);
    }
}

TEST(CodecFailure, IsAnError) {
  const auto coded = code(speech(), 44100.0, {Codec::opus, 64});
  ASSERT_FALSE(coded);
  EXPECT_EQ(coded.error().kind, ErrorKind::bad_command);
}

}  // namespace
}  // namespace kilter::simulator
