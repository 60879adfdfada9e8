#include "kilter/report/text_table.h"

#include <gtest/gtest.h>

namespace kilter::report {
namespace {

struct WidthCase {
  const char* name;
  const char* text;
  int cells;
};

class DisplayWidth : public testing::TestWithParam<WidthCase> {};

TEST_P(DisplayWidth, CountsCellsNotBytes) {
  EXPECT_EQ(display_width(GetParam().text), GetParam().cells);
}

INSTANTIATE_TEST_SUITE_P(
    Cases, DisplayWidth,
    testing::Values(WidthCase{"Ascii", "keeper", 6}, WidthCase{"Accents", "Zoë", 3},
                    WidthCase{"CombiningAccent", "Zoe\u0308", 3}, WidthCase{"Wide", "灯台", 4},
                    WidthCase{"Emoji", "\U0001F6A2", 2}, WidthCase{"Empty", "", 0}),
    [](const auto& each) { return each.param.name; });

struct PrintableCase {
  const char* name;
  const char* text;
  const char* printable;
};

class Printable : public testing::TestWithParam<PrintableCase> {};

TEST_P(Printable, LeavesNothingThatSteersATerminal) {
  EXPECT_EQ(printable(GetParam().text), GetParam().printable);
}

INSTANTIATE_TEST_SUITE_P(Cases, Printable,
                         testing::Values(PrintableCase{"Plain", "Zoë 灯台", "Zoë 灯台"},
                                         PrintableCase{"Escape", "a\x1b[2Jb", "a?[2Jb"},
                                         PrintableCase{"NewLine", "a\nb", "a?b"},
                                         PrintableCase{"C1Control", "a\u009bb", "a?b"},
                                         PrintableCase{"RightToLeftOverride", "a\u202eb", "a?b"},
                                         PrintableCase{"NotUtf8",
                                                       "a\xff\xfe"
                                                       "b",
                                                       "a??b"},
                                         PrintableCase{"CutShort", "a\xe7\x81", "a??"},
                                         PrintableCase{"OverlongSlash", "\xc0\xaf", "??"},
                                         PrintableCase{"Surrogate", "\xed\xa0\x80", "???"}),
                         [](const auto& each) { return each.param.name; });

struct CutCase {
  const char* name;
  const char* text;
  int width;
  const char* cut;
};

class CutMiddle : public testing::TestWithParam<CutCase> {};

TEST_P(CutMiddle, KeepsBothEnds) {
  EXPECT_EQ(cut_middle(GetParam().text, GetParam().width), GetParam().cut);
}

INSTANTIATE_TEST_SUITE_P(
    Cases, CutMiddle,
    testing::Values(CutCase{"Fits", "keeper", 6, "keeper"},
                    CutCase{"EvenRest", "recorder-12-take-3", 11, "reco...ke-3"},
                    CutCase{"OddRest", "recorder-12-take-3", 10, "reco...e-3"},
                    CutCase{"Accents", "Zoë-Zoë-Zoë", 8, "Zoë...oë"},
                    // A wide character that does not fit leaves its cell empty.
                    CutCase{"Wide", "灯台灯台灯台", 9, "灯...灯台"},
                    CutCase{"Least", "keeper", 3, "..."}),
    [](const auto& each) { return each.param.name; });

TEST(Wrapped, BreaksBetweenWordsAndIndents) {
  EXPECT_EQ(wrapped("one two three four", 9, 2), "one two\n  three\n  four");
  EXPECT_EQ(wrapped("a-word-too-long-to-fit here", 9, 2), "a-word-too-long-to-fit\n  here");
  EXPECT_EQ(wrapped(" 1. one two", 9, 4), " 1. one\n    two");
  EXPECT_EQ(wrapped("", 9, 2), "");
}

TEST(TextTable, AlignsAndShrinksTheNames) {
  const std::vector<Column> columns{{"track", "", false, TooWide::cut}, {"drift", "ppm", true}};
  EXPECT_EQ(text_table(columns, {{"keeper", "+1.25"}, {"Zoë", "-12.00"}}, 80),
            "track    drift\n"
            "           ppm\n"
            "keeper   +1.25\n"
            "Zoë     -12.00\n");
  EXPECT_EQ(text_table(columns, {{"recorder-12-take-3", "+1.25"}}, 18),
            "track        drift\n"
            "               ppm\n"
            "reco...ke-3  +1.25\n");
}

TEST(TextTable, FoldsWhatMustBeReadToItsEnd) {
  const std::vector<Column> columns{
      {"track", "", false, TooWide::cut}, {"note", "", false, TooWide::fold}, {"took", "s", true}};
  const std::vector<std::vector<std::string>> rows{
      {"keeper", "3 seams, 1 dropout, 12 missing-voices", "7"}, {"mate", "", "12"}};
  EXPECT_EQ(text_table(columns, rows, 80),
            "track   note                                   took\n"
            "                                                  s\n"
            "keeper  3 seams, 1 dropout, 12 missing-voices     7\n"
            "mate                                             12\n");
  EXPECT_EQ(text_table(columns, rows, 33),
            "track   note                 took\n"
            "                                s\n"
            "keeper  3 seams, 1 dropout,     7\n"
            "        12 missing-voices\n"
            "mate                           12\n");
  EXPECT_EQ(text_table(columns, rows, 24),
            "track   note        took\n"
            "                       s\n"
            "keeper  3 seams,       7\n"
            "        1 dropout,\n"
            "        12\n"
            "        miss...ces\n"
            "mate                  12\n");
}

}  // namespace
}  // namespace kilter::report
