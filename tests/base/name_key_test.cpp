#include "kilter/base/name_key.h"

#include <gtest/gtest.h>

#include <set>
#include <string>

namespace kilter {
namespace {

struct Alike {
  const char* name;
  std::string one, other;
};

void PrintTo(const Alike& row, std::ostream* out) { *out << row.name; }

class NamesOfOneFile : public testing::TestWithParam<Alike> {};

TEST_P(NamesOfOneFile, HaveOneKey) {
  ASSERT_NE(GetParam().one, GetParam().other);
  EXPECT_EQ(name_key(GetParam().one), name_key(GetParam().other));
}

INSTANTIATE_TEST_SUITE_P(
    All, NamesOfOneFile,
    testing::Values(Alike{"Case", "Keeper-2", "kEEPER-2"},
                    Alike{"CaseOfLatinLetters", "\u00C9\u00D8\u0160\u0178\u0179",
                          "\u00E9\u00F8\u0161\u00FF\u017A"},
                    Alike{"CaseOfGreekLetters", "\u039B\u0391\u039C\u03A8\u0397\u03A3",
                          "\u03BB\u03B1\u03BC\u03C8\u03B7\u03C2"},
                    Alike{"CaseOfCyrillicLetters", "\u0421\u041C\u0415\u041D\u0410",
                          "\u0441\u043C\u0435\u043D\u0430"},
                    Alike{"SharpS", "Stra\u00DFe", "STRASSE"},
                    Alike{"LatinAccent", "Ren\u00E9e", "Rene\u0301e"},
                    Alike{"LatinAccentAndCase", "\u00C5sa", "a\u030Asa"},
                    Alike{"TwoAccents", "Vi\u1EC7t", "Vie\u0323\u0302t"},
                    Alike{"GreekAccent", "\u03AE", "\u03B7\u0301"},
                    Alike{"PolytonicGreek", "\u1F04", "\u03B1\u0313\u0301"},
                    Alike{"CyrillicShortI", "\u0439", "\u0438\u0306"},
                    Alike{"CyrillicYo", "\u0401", "\u0435\u0308"},
                    Alike{"ArabicMadda", "\u0622", "\u0627\u0653"},
                    Alike{"VoicedKana", "\u30AC\u30D1", "\u30AB\u3099\u30CF\u309A"},
                    Alike{"HangulOfTwoLetters", "\uAC00", "\u1100\u1161"},
                    Alike{"HangulOfThreeLetters", "\uD55C", "\u1112\u1161\u11AB"},
                    Alike{"Angstrom", "\u212B", "A\u030A"}),
    [](const auto& each) { return each.param.name; });

TEST(NameKey, TellsApartWhatEveryFileSystemDoes) {
  const std::set<std::string> names{
      "keeper", "keeper-2", "keper",        "",       "_",      "o",      "\u00F8",
      "d",      "\u0111",   "\u0131",       "i",      "\u0456", "\u03BF", "\u043E",
      "\u30AB", "\u304B",   "\u706F\u53F0", "\uAC00", "\uAC01", "l",      "\u0142"};
  std::set<std::u32string> keys;
  for (const std::string& name : names) keys.insert(name_key(name));
  EXPECT_EQ(keys.size(), names.size());
}

}  // namespace
}  // namespace kilter
