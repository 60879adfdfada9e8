#include "kilter/base/clock_text.h"

#include <gtest/gtest.h>

#include <cmath>

namespace kilter {
namespace {

struct ClockCase {
  const char* name;
  double seconds;
  int decimals;
  const char* text;
};

class ClockText : public testing::TestWithParam<ClockCase> {};

TEST_P(ClockText, ReadsAsExpected) {
  EXPECT_EQ(clock_text(GetParam().seconds, GetParam().decimals), GetParam().text);
}

INSTANTIATE_TEST_SUITE_P(
    Cases, ClockText,
    testing::Values(ClockCase{"Zero", 0.0, 3, "00:00:00.000"},
                    ClockCase{"AllFields", 45296.789, 3, "12:34:56.789"},
                    ClockCase{"BeforeZero", -62.5, 3, "-00:01:02.500"},
                    ClockCase{"NoMinusForARoundedZero", -0.0004, 3, "00:00:00.000"},
                    ClockCase{"RoundsOverTheMinute", 59.9996, 3, "00:01:00.000"},
                    ClockCase{"Microseconds", 12.345678901, 6, "00:00:12.345679"},
                    ClockCase{"Nanoseconds", 7200.000000001, 9, "02:00:00.000000001"},
                    ClockCase{"NoDecimals", 3599.5, 0, "01:00:00"},
                    ClockCase{"MoreThanADay", 360000.0, 0, "100:00:00"},
                    ClockCase{"NotANumber", NAN, 3, "-"}, ClockCase{"Endless", INFINITY, 3, "-"}),
    [](const auto& each) { return each.param.name; });

TEST(ShortTimeText, HasThreeDigitsAndNoExponent) {
  EXPECT_EQ(short_time_text(0.0), "0.0000 ms");
  EXPECT_EQ(short_time_text(2.1e-6), "0.0021 ms");
  EXPECT_EQ(short_time_text(-1.5e-3), "1.5 ms");
  EXPECT_EQ(short_time_text(0.98765), "988 ms");
  EXPECT_EQ(short_time_text(0.9998), "1000 ms");
  EXPECT_EQ(short_time_text(1.2345), "1234 ms");
  EXPECT_EQ(short_time_text(-12.5), "00:00:12.500");
}

TEST(BoundText, IsInMicrosecondsUntilItTakesAUnit) {
  EXPECT_EQ(bound_text(15.24), "15.2");
  EXPECT_EQ(bound_text(999.9), "999.9");
  EXPECT_EQ(bound_text(999.96), "1 ms");
  EXPECT_EQ(bound_text(60e3), "60 ms");
  EXPECT_EQ(bound_text(1e6), "1000 ms");
  EXPECT_EQ(bound_text(7.5e6), "> 1 s");
}

}  // namespace
}  // namespace kilter
