#include "kilter/edits/timecode.h"

#include <gtest/gtest.h>

#include <vector>

#include "kilter/edits/record_time.h"

namespace kilter::edits {
namespace {

const std::vector<std::string> kAllRates{"23.976", "24", "25",    "29.97",   "29.97df",
                                         "30",     "50", "59.94", "59.94df", "60"};

FrameRate rate_of(const std::string& text) { return frame_rate_from_text(text).value(); }

/// The slow, obvious twin: a clock that is set forward frame by frame, and past the labels that
/// drop-frame leaves out.
struct LabelClock {
  int nominal, skipped;
  bool drop;
  int h{0}, m{0}, s{0}, f{0};

  void advance() {
    if (++f < nominal) return;
    f = 0;
    if (++s < 60) return;
    s = 0;
    if (++m == 60) {
      m = 0;
      h = (h + 1) % 24;
    }
    if (drop && m % 10 != 0) f = skipped;
  }
  std::string text() const {
    std::string label = "00:00:00:00";
    const int fields[] = {h, m, s, f};
    for (std::size_t i = 0; i < 4; ++i) {
      label[3 * i] = static_cast<char>('0' + fields[i] / 10);
      label[3 * i + 1] = static_cast<char>('0' + fields[i] % 10);
    }
    if (drop) label[8] = ';';
    return label;
  }
};

TEST(FrameRate, EveryNameGoesThereAndBack) {
  EXPECT_EQ(frame_rate_names(), kAllRates);
  for (const std::string& name : kAllRates) {
    ASSERT_TRUE(frame_rate_from_text(name)) << name;
    EXPECT_EQ(to_text(rate_of(name)), name);
  }
}

TEST(FrameRate, OtherNamesAreNone) {
  for (const char* name : {"", "23.98", "25df", "30df", "29.97 df", "120", "-25", "25.0"})
    EXPECT_FALSE(frame_rate_from_text(name)) << name;
}

struct DayCase {
  const char* rate;
  std::int64_t numerator, denominator, frames_per_day;
};

class Day : public testing::TestWithParam<DayCase> {};

// From the standard: a drop-frame day skips 2 (4) labels in 54 minutes of each of 24 hours.
TEST_P(Day, HasItsFrames) {
  const FrameRate rate = rate_of(GetParam().rate);
  EXPECT_EQ(rate.numerator(), GetParam().numerator);
  EXPECT_EQ(rate.denominator(), GetParam().denominator);
  EXPECT_EQ(rate.frames_per_day(), GetParam().frames_per_day);
}

INSTANTIATE_TEST_SUITE_P(
    All, Day,
    testing::Values(DayCase{"23.976", 24000, 1001, 2073600}, DayCase{"24", 24, 1, 2073600},
                    DayCase{"25", 25, 1, 2160000}, DayCase{"29.97", 30000, 1001, 2592000},
                    DayCase{"29.97df", 30000, 1001, 2589408}, DayCase{"30", 30, 1, 2592000},
                    DayCase{"50", 50, 1, 4320000}, DayCase{"59.94", 60000, 1001, 5184000},
                    DayCase{"59.94df", 60000, 1001, 5178816}, DayCase{"60", 60, 1, 5184000}));

TEST(RecordTime, SaysHowMuchLiesPastMidnight) {
  const RecordTime record{rate_of("29.97"), 2592000 - 30, 0.0};  // 1.001 s before it
  EXPECT_EQ(past_midnight_s(record, 1.0), 0.0);
  EXPECT_NEAR(past_midnight_s(record, 61.0), 59.999, 1e-9);
  EXPECT_EQ(past_midnight_s({rate_of("25"), 90000, 0.0}, 82800.0), 0.0);
}

struct LabelCase {
  const char* rate;
  std::int64_t frame;
  const char* label;
};

class Labels : public testing::TestWithParam<LabelCase> {};

TEST_P(Labels, GoThereAndBack) {
  const FrameRate rate = rate_of(GetParam().rate);
  EXPECT_EQ(timecode_text(GetParam().frame, rate), GetParam().label);
  const auto frame = frame_of_timecode(GetParam().label, rate);
  ASSERT_TRUE(frame) << frame.error().what;
  EXPECT_EQ(*frame, GetParam().frame);
}

INSTANTIATE_TEST_SUITE_P(
    All, Labels,
    testing::Values(
        LabelCase{"25", 0, "00:00:00:00"}, LabelCase{"25", 90000, "01:00:00:00"},
        LabelCase{"25", 2159999, "23:59:59:24"}, LabelCase{"24", 86399, "00:59:59:23"},
        LabelCase{"29.97", 1800, "00:01:00:00"}, LabelCase{"29.97", 108000, "01:00:00:00"},
        LabelCase{"29.97df", 1799, "00:00:59;29"}, LabelCase{"29.97df", 1800, "00:01:00;02"},
        LabelCase{"29.97df", 17981, "00:09:59;29"}, LabelCase{"29.97df", 17982, "00:10:00;00"},
        LabelCase{"29.97df", 107892, "01:00:00;00"}, LabelCase{"29.97df", 2589407, "23:59:59;29"},
        LabelCase{"59.94df", 3600, "00:01:00;04"}, LabelCase{"59.94df", 35964, "00:10:00;00"},
        LabelCase{"59.94df", 5178815, "23:59:59;59"}));

TEST(Timecode, CountsADayOfLabelsLikeAClock) {
  for (const std::string& name : kAllRates) {
    const FrameRate rate = rate_of(name);
    LabelClock clock{rate.nominal, rate.nominal / 15, rate.drop_frame};
    std::int64_t wrong = 0;
    for (std::int64_t frame = 0; frame < rate.frames_per_day(); ++frame, clock.advance()) {
      // The clock is set forward by every frame, and read at each second's turn and in between.
      if (frame % 31 != 0 && clock.f > clock.skipped && clock.f < rate.nominal - 1) continue;
      const std::string label = clock.text();
      const auto back = frame_of_timecode(label, rate);
      if (timecode_text(frame, rate) != label || !back || *back != frame) ++wrong;
    }
    EXPECT_EQ(wrong, 0) << name;
    EXPECT_EQ(clock.text(), rate.drop_frame ? "00:00:00;00" : "00:00:00:00") << name;
  }
}

TEST(Timecode, StartsAgainAfterADayAndBeforeNought) {
  for (const std::string& name : kAllRates) {
    const FrameRate rate = rate_of(name);
    const std::int64_t day = rate.frames_per_day();
    for (const std::int64_t frame : {std::int64_t{0}, std::int64_t{1801}, day - 1}) {
      EXPECT_EQ(timecode_text(frame + day, rate), timecode_text(frame, rate)) << name;
      EXPECT_EQ(timecode_text(frame - 3 * day, rate), timecode_text(frame, rate)) << name;
    }
  }
  EXPECT_EQ(timecode_text(-1, rate_of("25")), "23:59:59:24");
  EXPECT_EQ(timecode_text(-1, rate_of("29.97df")), "23:59:59;29");
}

TEST(Timecode, DropFrameAlsoTakesColons) {
  const auto frame = frame_of_timecode("01:00:00:00", rate_of("29.97df"));
  ASSERT_TRUE(frame);
  EXPECT_EQ(*frame, 107892);
}

struct WrongCase {
  const char* rate;
  const char* text;
  const char* what;
};

class WrongTimecode : public testing::TestWithParam<WrongCase> {};

TEST_P(WrongTimecode, IsAnErrorThatSaysWhatIsWrong) {
  const auto frame = frame_of_timecode(GetParam().text, rate_of(GetParam().rate));
  ASSERT_FALSE(frame);
  EXPECT_EQ(frame.error().kind, ErrorKind::bad_command);
  EXPECT_NE(frame.error().what.find(GetParam().what), std::string::npos) << frame.error().what;
  EXPECT_FALSE(frame.error().next_step.empty());
}

INSTANTIATE_TEST_SUITE_P(
    All, WrongTimecode,
    testing::Values(WrongCase{"25", "", "must be HH:MM:SS:FF"},
                    WrongCase{"25", "1:00:00:00", "must be HH:MM:SS:FF"},
                    WrongCase{"25", "01:00:00", "must be HH:MM:SS:FF"},
                    WrongCase{"25", "-1:00:00:00", "must be HH:MM:SS:FF"},
                    WrongCase{"25", "01:00:00.00", "must be HH:MM:SS:FF"},
                    WrongCase{"25", "01;00:00:00", "must be HH:MM:SS:FF"},
                    WrongCase{"25", "01:00:00:00 ", "must be HH:MM:SS:FF"},
                    WrongCase{"25", "24:00:00:00", "hours go from 00 to 23"},
                    WrongCase{"25", "01:60:00:00", "minutes go from 00 to 59"},
                    WrongCase{"25", "01:00:60:00", "seconds go from 00 to 59"},
                    WrongCase{"25", "01:00:00:25", "frames go from 00 to 24 at 25"},
                    WrongCase{"25", "01:00:00;00", "25 drops none"},
                    WrongCase{"29.97", "01:00:00;00", "29.97 drops none"},
                    WrongCase{"29.97df", "00:01:00;01", "drop-frame skips this label"},
                    WrongCase{"59.94df", "00:59:00;03", "drop-frame skips this label"}));

struct SampleCase {
  const char* rate;
  std::int64_t samples_per_s, frame, first_sample;
};

class FramesAsSamples : public testing::TestWithParam<SampleCase> {};

TEST_P(FramesAsSamples, GoThereAndBack) {
  const SampleCase& row = GetParam();
  const FrameRate rate = rate_of(row.rate);
  EXPECT_EQ(first_sample_of_frame(row.frame, rate, row.samples_per_s), row.first_sample);
  EXPECT_EQ(frame_of_sample(row.first_sample, rate, row.samples_per_s), row.frame);
  EXPECT_EQ(frame_of_sample(row.first_sample - 1, rate, row.samples_per_s), row.frame - 1);
}

INSTANTIATE_TEST_SUITE_P(
    All, FramesAsSamples,
    testing::Values(SampleCase{"25", 48000, 1, 1920}, SampleCase{"24", 48000, 1, 2000},
                    SampleCase{"24", 44100, 1, 1838}, SampleCase{"24", 44100, 2, 3675},
                    SampleCase{"29.97", 48000, 1, 1602}, SampleCase{"29.97", 48000, 5, 8008},
                    SampleCase{"29.97", 48000, -1, -1601}, SampleCase{"29.97", 48000, -5, -8008},
                    SampleCase{"23.976", 96000, 1, 4004}, SampleCase{"59.94df", 48000, 5, 4004},
                    SampleCase{"59.94", 44100, 3, 2208}, SampleCase{"60", 44100, 1, 735},
                    // A day of frames lasts 86400 s of labels, times 1.001 where pulled down.
                    SampleCase{"25", 48000, 2160000, 4147200000},
                    SampleCase{"29.97", 48000, 2592000, 4151347200},
                    // Thirty years from here products of all three numbers would overflow.
                    SampleCase{"59.94", 768000, 60000'000'000, 768'768'000'000'000}));

// A second's worth of every kind, by counting up in fractions.
TEST(Timecode, EverySampleBelongsToTheFrameThatHoldsItsBeginning) {
  for (const std::string& name : kAllRates) {
    const FrameRate rate = rate_of(name);
    for (const std::int64_t samples_per_s : {44100, 48000, 96000}) {
      std::int64_t frame = -3;
      std::int64_t wrong = 0;
      const std::int64_t first = first_sample_of_frame(frame, rate, samples_per_s);
      for (std::int64_t sample = first; sample < samples_per_s + 5000; ++sample) {
        // sample / samples_per_s >= (frame + 1) * denominator / numerator, without dividing
        if (sample * rate.numerator() >= (frame + 1) * rate.denominator() * samples_per_s) ++frame;
        if (frame_of_sample(sample, rate, samples_per_s) != frame) ++wrong;
      }
      EXPECT_EQ(wrong, 0) << name << " at " << samples_per_s;
    }
  }
}

}  // namespace
}  // namespace kilter::edits
