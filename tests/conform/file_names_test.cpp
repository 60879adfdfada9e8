#include <gtest/gtest.h>

#include <string>

#include "kilter/conform/conform.h"

namespace kilter::conform {
namespace {

struct Name {
  const char* name;
  std::string track;
  std::string file;
};

void PrintTo(const Name& row, std::ostream* out) { *out << row.name; }

class SafeFileName : public testing::TestWithParam<Name> {};

TEST_P(SafeFileName, IsLegalEverywhere) {
  EXPECT_EQ(safe_file_names({GetParam().track}), std::vector<std::string>{GetParam().file});
}

INSTANTIATE_TEST_SUITE_P(
    All, SafeFileName,
    testing::Values(Name{"PlainNameStays", "keeper 2 (desk)", "keeper 2 (desk)"},
                    Name{"OtherScriptsStay", "Ørjan смотритель 灯台", "Ørjan смотритель 灯台"},
                    Name{"SlashesGo", "../tower/lamp\\top", "_tower_lamp_top"},
                    Name{"CharactersThatSomeSystemsForbidGo", "a:b*c?d\"e<f>g|h",
                         "a_b_c_d_e_f_g_h"},
                    Name{"ControlCharactersGo", "tab\tnewline\nend\x7F", "tab_newline_end_"},
                    Name{"LettersThatSteerATerminalGo", "a\u009B1mb\u200Ec", "a_1mb_c"},
                    Name{"LeadingDotsGo", "..hidden", "hidden"},
                    Name{"TrailingDotsAndBlanksGo", "keeper. .", "keeper"},
                    Name{"NothingBecomesTrack", "", "track"},
                    Name{"DotsBecomeTrack", "...", "track"},
                    Name{"DeviceNamesAreNotUsed", "Con", "_Con"},
                    Name{"DeviceNamesWithAnEndingNeither", "lpt1.take", "_lpt1.take"},
                    Name{"ALongerNameIsNoDevice", "console", "console"},
                    Name{"BytesThatAreNotUtf8Go", "lamp \xE9!", "lamp _!"},
                    Name{"ASurrogateGoes", "a\xED\xA0\x80", "a___"},
                    Name{"LongNamesAreCut", std::string(300, 'x'), std::string(200, 'x')},
                    Name{"NoLetterIsCutInTwo", std::string(199, 'x') + "é", std::string(199, 'x')}),
    [](const auto& each) { return each.param.name; });

TEST(SafeFileNames, AreDifferentEvenWhereCaseIsNotToldApart) {
  const auto names = safe_file_names(
      {"keeper", "Keeper", "keeper-2", "KEEPER", "Émile", "émile", "СМЕНА", "смена", "a/b", "a:b"});
  EXPECT_EQ(names,
            (std::vector<std::string>{"keeper", "Keeper-2", "keeper-2-2", "KEEPER-3", "Émile",
                                      "émile-2", "СМЕНА", "смена-2", "a_b", "a_b-2"}));
}

TEST(SafeFileNames, AreDifferentWhereTwoSpellingsOfALetterAreOne) {
  const std::string composed = "Ren\u00E9e";
  const std::string decomposed = "Rene\u0301e";
  ASSERT_NE(composed, decomposed);
  EXPECT_EQ(safe_file_names({composed, decomposed}),
            (std::vector<std::string>{composed, decomposed + "-2"}));
  EXPECT_EQ(safe_file_names({"C\u00F6n"}).front(), "C\u00F6n");  // a device is "con" alone
}

}  // namespace
}  // namespace kilter::conform
