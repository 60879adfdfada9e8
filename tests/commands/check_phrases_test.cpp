// What phrases say of a stem: what slipped and what nothing confirms, and whom that accuses.
#include "check_phrases.h"

#include <gtest/gtest.h>

#include <algorithm>

namespace kilter::commands {
namespace {

using report::CheckedStem;
using report::Verdict;
using sync::Phrase;
using sync::ResidualWindow;

constexpr double kLimit_s = 1e-3;

Phrase phrase(double from_s, double late_s, bool heard = true) {
  Phrase made;
  made.from_s = from_s;
  made.to_s = from_s + 2.0;
  made.late_s = late_s;
  made.sigma_s = 1e-6;
  made.heard = heard;
  made.level_db = -6.0;
  return made;
}

CheckedStem judged(std::vector<Phrase> phrases, const StemFacts& facts) {
  CheckedStem stem;
  stem.verdict = Verdict::within;
  judge_phrases({std::move(phrases), {}}, {}, kLimit_s, facts, stem);
  return stem;
}

bool tells(const CheckedStem& stem, const char* code) {
  return std::any_of(stem.findings.begin(), stem.findings.end(),
                     [&](const Finding& each) { return each.code == code; });
}

StemFacts facts_of_a_microphone() {
  StemFacts facts;
  facts.in_room = facts.has_lineup = facts.changed = facts.others_unchanged = true;
  return facts;
}

TEST(Phrases, ThatStandOffTogetherAreOneSlip) {
  const auto slips = slips_of(
      {phrase(0, 0), phrase(2, 5e-3), phrase(5, 5.1e-3), phrase(8, 0), phrase(10, 2e-3)}, kLimit_s);
  ASSERT_EQ(slips.size(), 2U);
  EXPECT_EQ(slips[0].from_s, 2.0);
  EXPECT_EQ(slips[0].to_s, 7.0);
  EXPECT_EQ(slips[0].talk_s, 4.0);
  EXPECT_NEAR(slips[0].late_s, 5.1e-3, 1e-9);
  EXPECT_EQ(slips[1].from_s, 10.0);
}

TEST(Phrases, WithinTheLimitAndItsBoundAreNoSlip) {
  EXPECT_TRUE(slips_of({phrase(0, 1.05e-3), phrase(3, -0.9e-3)}, kLimit_s).empty());
}

TEST(Phrases, OfAMicrophoneThatSlippedFailItWithPlaceAndSize) {
  const auto stem = judged({phrase(0, 0), phrase(4, -2e-3)}, facts_of_a_microphone());
  EXPECT_EQ(stem.verdict, Verdict::beyond);
  EXPECT_TRUE(tells(stem, "misaligned"));
  EXPECT_EQ(stem.worst_at_s, 4.0);
  EXPECT_NEAR(stem.worst_s.value_or(0.0), -2e-3, 1e-9);
}

TEST(Phrases, OfAGuestWhoseStemIsAsItWasWrittenAreTold) {
  StemFacts facts;
  facts.has_lineup = true;
  const auto stem = judged({phrase(0, 0), phrase(4, -2e-3)}, facts);
  EXPECT_EQ(stem.verdict, Verdict::within);
  EXPECT_TRUE(tells(stem, "excursion"));
}

TEST(Phrases, OfAGuestAreTheNetworksWhereItHeldHimBackWhenAligned) {
  StemFacts facts = facts_of_a_microphone();
  facts.in_room = false;
  facts.held_back = {{3.0, 5.0}};
  EXPECT_EQ(judged({phrase(0, 0), phrase(4, -2e-3)}, facts).verdict, Verdict::within);
  facts.held_back.clear();
  EXPECT_EQ(judged({phrase(0, 0), phrase(4, -2e-3)}, facts).verdict, Verdict::beyond);
}

TEST(Phrases, LaterByAWayThroughTheRoomAccuseNobodyBesideASilentStem) {
  Phrase late = phrase(4, 6e-3);
  late.beside_mute = true;
  EXPECT_EQ(judged({phrase(0, 0), late}, facts_of_a_microphone()).verdict, Verdict::within);
  Phrase early = phrase(4, -6e-3);
  early.beside_mute = true;
  EXPECT_EQ(judged({phrase(0, 0), early}, facts_of_a_microphone()).verdict, Verdict::beyond);
}

TEST(Phrases, ThatAreFaintAndLateAccuseNobodyWhereAnotherIsOutOfPlace) {
  Phrase late = phrase(4, 6e-3);
  late.level_db = -14.0;
  StemFacts facts = facts_of_a_microphone();
  const std::vector<Phrase> said{phrase(0, 0), phrase(2, 0), late};
  EXPECT_EQ(judged(said, facts).verdict, Verdict::beyond);
  facts.others_in_place = false;
  const auto stem = judged(said, facts);
  EXPECT_EQ(stem.verdict, Verdict::within);
  EXPECT_TRUE(tells(stem, "excursion"));
}

TEST(Phrases, ThatAreNotHeardAreToldWithTheirLength) {
  const auto stem = judged({phrase(0, 0), phrase(4, 0, false)}, facts_of_a_microphone());
  EXPECT_EQ(stem.verdict, Verdict::within);
  ASSERT_TRUE(tells(stem, "unheard"));
  EXPECT_NE(stem.findings[0].text.find("00:00:02.0"), std::string::npos) << stem.findings[0].text;
}

TEST(Windows, ThatHoldOnlyOthersTalkCountForNothing) {
  const std::vector<ResidualWindow> windows{
      {3.0, 0.0, 1e-6, true, false}, {9.0, 0.0, 1.0, false, false}, {15.0, 0.0, 1.0, false, false}};
  const auto merged = with_phrases(windows, {phrase(1, 0), phrase(14, 0, false)});
  ASSERT_EQ(merged.size(), 2U);
  EXPECT_EQ(merged[0].line_s, 3.0);
  EXPECT_EQ(merged[1].line_s, 15.0);
  EXPECT_FALSE(merged[1].clear);
}

TEST(Windows, ThatAreNotClearGiveWayToThePhrasesInThem) {
  const std::vector<ResidualWindow> windows{{3.0, 0.0, 1.0, false, false}};
  const auto merged = with_phrases(windows, {phrase(1, 1e-6), phrase(4, 1e-6)});
  ASSERT_EQ(merged.size(), 2U);
  EXPECT_TRUE(merged[0].clear && merged[1].clear);
}

TEST(Windows, LaterByAWayThroughTheRoomCountOnlyWithTheirPersonsTalk) {
  const std::vector<ResidualWindow> windows{{3.0, 4e-3, 1e-6, true, false}};
  EXPECT_TRUE(with_phrases(windows, {}).empty());
  EXPECT_EQ(with_phrases(windows, {phrase(1, 4e-3)}).size(), 1U);
}

TEST(Phrases, ThatStandOffFromOnePlaceToTheEndAreAStep) {
  const auto text_of = [](std::vector<Phrase> said) {
    const auto stem = judged(std::move(said), facts_of_a_microphone());
    return stem.findings.empty() ? std::string() : stem.findings.back().text;
  };
  const std::string step =
      text_of({phrase(0, 0), phrase(4, 0), phrase(40, -0.3), phrase(50, -0.3)});
  EXPECT_NE(step.find("in step with the mix up to 00:00:06.000, and 300 ms early from "
                      "00:00:40.000 to its end"),
            std::string::npos)
      << step;
  EXPECT_EQ(step.find("elsewhere does not"), std::string::npos) << step;
  const std::string slip = text_of({phrase(0, 0), phrase(40, -0.3), phrase(50, 0)});
  EXPECT_NE(slip.find("elsewhere does not"), std::string::npos) << slip;
}

TEST(Phrases, OfAStepTellHowMuchIsLostAndWhere) {
  const auto stem = judged({phrase(0, 0), phrase(40, -0.3)}, facts_of_a_microphone());
  ASSERT_TRUE(tells(stem, "misaligned"));
  EXPECT_EQ(stem.findings.back().line_s, 40.0);
  EXPECT_NEAR(stem.findings.back().step_s.value_or(0.0), 0.3, 1e-9);
}

}  // namespace
}  // namespace kilter::commands
