#include "kilter/base/utf8.h"

#include <gtest/gtest.h>

namespace kilter {
namespace {

struct TextCase {
  const char* name;
  std::string bytes;
  std::string told;  // as UTF-8; equal to the bytes where they are
};

class Utf8 : public testing::TestWithParam<TextCase> {};

TEST_P(Utf8, IsKeptAndAllElseReplaced) {
  const TextCase& each = GetParam();
  EXPECT_EQ(as_utf8(each.bytes), each.told);
  EXPECT_EQ(is_utf8(each.bytes), each.bytes == each.told);
  EXPECT_TRUE(is_utf8(each.told));
}

const std::string kLost = "\xEF\xBF\xBD";

INSTANTIATE_TEST_SUITE_P(
    All, Utf8,
    testing::Values(TextCase{"Nothing", "", ""}, TextCase{"Ascii", "a\x7F", "a\x7F"},
                    TextCase{"TwoBytes", "\xC3\xBC", "\xC3\xBC"},
                    TextCase{"ThreeBytes", "\xE2\x82\xAC", "\xE2\x82\xAC"},
                    TextCase{"FourBytes", "\xF0\x9F\x8E\x99", "\xF0\x9F\x8E\x99"},
                    TextCase{"Latin1", "l\xFCtt", "l" + kLost + "tt"},
                    TextCase{"CutShort", "a\xE2\x82", "a" + kLost + kLost},
                    TextCase{"LongerThanNeeded", "\xC0\xAF", kLost + kLost},
                    TextCase{"Surrogate", "\xED\xA0\x80", kLost + kLost + kLost},
                    TextCase{"BeyondUnicode", "\xF4\x90\x80\x80", kLost + kLost + kLost + kLost},
                    TextCase{"LoneTail", "\x80", kLost}),
    [](const auto& each) { return each.param.name; });

TEST(Utf8Letter, HasItsCode) {
  EXPECT_EQ(first_letter("\xE2\x82\xAC!").code, U'\u20AC');
  EXPECT_EQ(first_letter("\xE2\x82\xAC!").bytes, 3U);
}

TEST(Controls, AreWhatSteersWhatShowsThem) {
  for (const char32_t code : {0x1BU, 0x07U, 0x0AU, 0x7FU, 0x9BU, 0x061CU, 0x200EU, 0x200FU, 0x2028U, 0x202EU, 0x2066U})
    EXPECT_TRUE(is_control(code)) << static_cast<unsigned>(code);
  for (const char32_t code : {0x20U, 0x41U, 0xA0U, 0xE4U, 0x2027U, 0x202FU, 0x1F600U})
    EXPECT_FALSE(is_control(code)) << static_cast<unsigned>(code);
}

TEST(Controls, StandInJsonAsTheirNumbers) {
  EXPECT_EQ(with_controls_escaped("{\n  \"a\": \"\u009Bz\u202E\u00E4\"\n}"),
            "{\n  \"a\": \"\\u009bz\\u202e\u00E4\"\n}");
  EXPECT_EQ(with_controls_escaped("[\"\xFF\"]"), "[\"\xFF\"]");
}

}  // namespace
}  // namespace kilter
