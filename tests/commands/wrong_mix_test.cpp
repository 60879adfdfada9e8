// Findings beside a mix that is wrong: told as what may come of it, and no further.
#include "wrong_mix.h"

#include <gtest/gtest.h>

namespace kilter::commands {
namespace {

Finding finding(const char* code, const char* text) {
  Finding made;
  made.code = code;
  made.text = text;
  return made;
}

Lineup told() {
  Lineup lineup;
  lineup.mix.emplace().findings = {finding("mix-seam", "The mix lost 20 ms at 9.5. Do not cut.")};
  LineupTrack& track = lineup.tracks.emplace_back();
  track.findings = {finding("unmatched", "No place fits. Check that it belongs."),
                    finding("seam", "It lost 20 ms, or so. Ask for it."),
                    finding("clipped", "It clips. Listen.")};
  lineup.findings = {finding("missing-voice", "Somebody is missing, 3.5 s in all. Ask for him.")};
  lineup.findings.front().stretches = {{1.0, 4.5}};
  return lineup;
}

TEST(WrongMix, OfAWrongRateIsWhatFitsNowhereAndNotWhatWasLost) {
  Lineup lineup = told();
  rest_on_the_mixs_rate(lineup);
  const std::string rest =
      "That may come of the mix's wrong header alone: mend it first, and start again.";
  EXPECT_EQ(lineup.tracks[0].findings[0].text, "No place fits. " + rest);
  EXPECT_EQ(lineup.tracks[0].findings[1].text, "It lost 20 ms, or so. Ask for it.");
  EXPECT_EQ(lineup.findings[0].text, "Somebody is missing, 3.5 s in all. " + rest);
  EXPECT_EQ(lineup.findings[0].stretches.size(), 1U);
  EXPECT_EQ(lineup.mix->findings[0].text, "The mix lost 20 ms at 9.5. Do not cut.");
}

TEST(WrongMix, ThatIsAnotherFileIsBehindAllThatWasMeasuredAgainstIt) {
  Lineup lineup = told();
  rest_on_the_choice_of_mix(lineup);
  for (const std::string& text :
       {lineup.tracks[0].findings[0].text, lineup.tracks[0].findings[1].text,
        lineup.mix->findings[0].text, lineup.findings[0].text})
    EXPECT_NE(text.find(". That may come of the wrong file being taken for the mix: "),
              std::string::npos)
        << text;
  EXPECT_EQ(lineup.tracks[0].findings[2].text, "It clips. Listen.");  // by the file alone
}

}  // namespace
}  // namespace kilter::commands
