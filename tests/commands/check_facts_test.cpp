// What check advises: never what changes nothing.
#include "check_facts.h"

#include <gtest/gtest.h>

namespace kilter::commands {
namespace {

bool holds_text(const std::string& text, const char* part) {
  return text.find(part) != std::string::npos;
}

TEST(MendText, AsksToConformAgainWhereTheStemMayHaveChanged) {
  StemFacts facts;
  EXPECT_EQ(mend_text(facts, "move the stem", 10.0, 20.0),
            " Conform the session again, or move the stem.");
  facts.has_lineup = facts.changed = true;
  EXPECT_EQ(mend_text(facts, "move the stem", 10.0, 20.0),
            " Conform the session again, or move the stem.");
}

TEST(MendText, SendsToTheTableOfCutsWhereTheStemIsAsItWasWritten) {
  StemFacts facts;
  facts.has_lineup = true;
  const std::string text = mend_text(facts, "move the stem", 10.0, 20.0);
  EXPECT_FALSE(holds_text(text, "Conform the session again"));
  EXPECT_TRUE(holds_text(text, "conforming again changes nothing by itself")) << text;
  EXPECT_TRUE(holds_text(text, "edits/cuts.tsv")) << text;
  EXPECT_FALSE(holds_text(text, "The lineup cuts it")) << text;
}

TEST(MendText, NamesTheCutThatMayStandAtTheWrongEndOfTheStretch) {
  StemFacts facts;
  facts.has_lineup = true;
  facts.cuts_s = {20.0, 104.88, 300.0};
  EXPECT_TRUE(holds_text(mend_text(facts, "", 81.0, 99.0), "The lineup cuts it at 00:01:44.880;"));
  EXPECT_FALSE(holds_text(mend_text(facts, "", 180.0, 200.0), "The lineup cuts it"));
}

TEST(DepartureText, IsTheStreamsDoingOnlyWhereAligningSawIt) {
  StemFacts facts;
  EXPECT_TRUE(holds_text(departure_text(facts, 10.0, 12.0), "and so does a sentence"));
  facts.has_lineup = true;
  EXPECT_TRUE(holds_text(departure_text(facts, 10.0, 12.0), "aligning missed a cut"));
  facts.held_back = {{11.0, 14.0}};
  EXPECT_TRUE(holds_text(departure_text(facts, 10.0, 12.0), "as it was when"));
  EXPECT_FALSE(holds_text(departure_text(facts, 30.0, 32.0), "as it was when"));
}

}  // namespace
}  // namespace kilter::commands
