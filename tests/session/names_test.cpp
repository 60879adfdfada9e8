#include "kilter/session/names.h"

#include <gtest/gtest.h>

#include <array>

namespace kilter::session {
namespace {

struct WordCase {
  const char* name;
  const char* stem;
  MixWord word;
};

class MixWords : public testing::TestWithParam<WordCase> {};

TEST_P(MixWords, AreFoundAsWholeWords) { EXPECT_EQ(mix_word(GetParam().stem), GetParam().word); }

INSTANTIATE_TEST_SUITE_P(
    Cases, MixWords,
    testing::Values(WordCase{"Alone", "mixdown", MixWord::yes},
                    WordCase{"AmongOthers", "lighthouse-12_MIX-v3", MixWord::yes},
                    WordCase{"BeforeADigit", "Mix2", MixWord::yes},
                    WordCase{"British", "programme 12", MixWord::yes},
                    WordCase{"InsideAWord", "mixer-channel", MixWord::no},
                    WordCase{"InsideAnAccentedWord", "rémix", MixWord::no},
                    WordCase{"MixMinus", "mix-minus-guest", MixWord::no},
                    WordCase{"ThePersonInCharge", "harbour-master", MixWord::perhaps},
                    WordCase{"CloudRecording", "show cloud", MixWord::perhaps},
                    WordCase{"SureBeatsPerhaps", "full-mix", MixWord::yes},
                    WordCase{"Microphone", "mic-1", MixWord::no},
                    WordCase{"Nothing", "", MixWord::no}),
    [](const auto& each) { return each.param.name; });

TEST(Names, ComeInTheOrderThatPeopleCountIn) {
  const std::vector<std::string> sorted{"a",     "B-1",    "b-2",    "b-2x", "b-10",
                                        "b-010", "b-0100", "keeper", "z"};
  for (std::size_t i = 0; i < sorted.size(); ++i)
    for (std::size_t j = 0; j < sorted.size(); ++j) {
      const bool equal_value = sorted[i].starts_with("b-") && sorted[j].starts_with("b-") &&
                               (sorted[i] == "b-010" || sorted[j] == "b-010");
      if (equal_value) continue;
      EXPECT_EQ(comes_before(sorted[i], sorted[j]), i < j) << sorted[i] << " " << sorted[j];
    }
}

TEST(Names, AreOrderedEvenWhereOnlyZerosOrCaseDiffer) {
  EXPECT_NE(comes_before("b-10", "b-010"), comes_before("b-010", "b-10"));
  EXPECT_NE(comes_before("Mic", "mic"), comes_before("mic", "Mic"));
  EXPECT_FALSE(comes_before("mic", "mic"));
}

TEST(Names, BecomeUniqueWithoutTakingEachOthersPlace) {
  const std::vector<std::string> made = made_unique({"mic", "Mic", "mic-2", "mic", "guest"});
  EXPECT_EQ(made, (std::vector<std::string>{"mic", "Mic-3", "mic-2", "mic-4", "guest"}));
}

TEST(Names, TellWhoseTakeATakeIs) {
  const std::pair<const char*, const char*> cases[] = {{"harbour", "harbour"},
                                                       {"harbour-2", "harbour"},
                                                       {"Harbour (3)", "Harbour"},
                                                       {"harbour_take2", "harbour"},
                                                       {"harbour-reconnect", "harbour"},
                                                       {"harbour - part 02", "harbour"},
                                                       {"harbour2", "harbour2"},
                                                       {"guest-2", "guest-2"},
                                                       {"mic 03", "mic 03"},
                                                       {"desk-ch3", "desk-ch3"},
                                                       {"guest-2-take-3", "guest-2"},
                                                       {"take2", "take2"},
                                                       {"12", "12"},
                                                       {"", ""}};
  for (const auto& [name, voice] : cases) EXPECT_EQ(voice_of_take(name), voice) << name;
}

TEST(Names, AreMistakenForTheNearestOfThoseKnown) {
  constexpr std::array<std::string_view, 3> kKnown{"channel", "recorder", "role"};
  EXPECT_EQ(nearest_name("chanel", kKnown), "channel");
  EXPECT_EQ(nearest_name("Recoder", kKnown), "recorder");
  EXPECT_EQ(nearest_name("rol", kKnown), "role");
  EXPECT_FALSE(nearest_name("gain", kKnown));
  EXPECT_FALSE(nearest_name("", kKnown));
}

}  // namespace
}  // namespace kilter::session
