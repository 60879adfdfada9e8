#include "wrong_mix.h"

#include <algorithm>
#include <array>
#include <span>
#include <string>
#include <string_view>

namespace kilter::commands {
namespace {

// A wrong rate that is known is taken out, so that only what found no place is in doubt.
constexpr std::array<std::string_view, 3> kByRate{"missing-voice", "thin-evidence", "unmatched"};
constexpr std::array<std::string_view, 11> kByMix{
    "excursion", "inverted",      "leak", "missing-voice", "mix-music", "mix-repeat",
    "mix-seam",  "thin-evidence", "seam", "unmatched",     "unrecorded"};

/// The claim stays, without what to do about it.
std::string claim_of(const std::string& text) { return text.substr(0, text.find(". ")); }

void rest(std::vector<Finding>& findings, std::span<const std::string_view> codes,
          std::string_view on) {
  for (Finding& finding : findings)
    if (std::find(codes.begin(), codes.end(), finding.code) != codes.end())
      finding.text = claim_of(finding.text).append(". ").append(on);
}

void rest_all(Lineup& lineup, std::span<const std::string_view> codes, std::string_view on) {
  for (LineupTrack& track : lineup.tracks) rest(track.findings, codes, on);
  if (lineup.mix) rest(lineup.mix->findings, codes, on);
  rest(lineup.findings, codes, on);
}

}  // namespace

void rest_on_the_mixs_rate(Lineup& lineup) {
  rest_all(lineup, kByRate,
           "That may come of the mix's wrong header alone: mend it first, and start again.");
}

void rest_on_the_choice_of_mix(Lineup& lineup) {
  rest_all(lineup, kByMix,
           "That may come of the wrong file being taken for the mix: settle that first, and start "
           "again.");
}

}  // namespace kilter::commands
