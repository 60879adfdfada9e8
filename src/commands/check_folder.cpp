#include "check_folder.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "check_verdicts.h"
#include "kilter/base/clock_text.h"
#include "kilter/conform/conform.h"
#include "kilter/edits/lineup_file.h"

namespace kilter::commands {

namespace fs = std::filesystem;
using report::CheckedStem;
using report::CheckReport;
using survey::Survey;
using survey::SurveyTrack;

void tell_what_is_not_whole(const fs::path& dir, const Survey& survey, CheckReport& report) {
  std::error_code code;
  if (!fs::is_regular_file(dir / "lineup.json", code)) return;
  const auto lineup = edits::read_lineup(dir / "lineup.json");
  if (!lineup) return;
  for (const fs::path& file : conform::stem_files(*lineup).tracks) {
    if (fs::exists(dir / "stems" / file, code)) continue;
    CheckedStem& stem = report.stems.emplace_back();
    stem.name = file.stem().string();
    stem.file = file.string();
    stem.findings.push_back(
        check_finding("missing-stem", "Its stem is not there. Conform the session again."));
  }
  const double mix_s = survey.files[survey.mix->file].length_s();
  for (CheckedStem& stem : report.stems)
    for (const survey::SurveyFile& file : survey.files) {
      constexpr double kFrame_s = 1e-5;
      if (file.name != stem.file || file.failure || std::abs(file.length_s() - mix_s) < kFrame_s)
        continue;
      stem.findings.push_back(check_finding(
          "unequal-length",
          fmt::format("It lasts {}, and the mix beside it {}: it is not as it was written. Conform "
                      "the session again.",
                      clock_text(file.length_s()), clock_text(mix_s))));
    }
}

void tell_what_is_swapped(const fs::path& dir, const Survey& survey, CheckReport& report) {
  std::error_code code;
  if (!fs::is_regular_file(dir / "lineup.json", code)) return;
  const auto lineup = edits::read_lineup(dir / "lineup.json");
  if (!lineup) return;
  for (const SurveyTrack& track : survey.tracks) {
    const std::string& file = survey.files[track.file].name;
    const auto is_it = [&](const StemMark& mark) { return mark.digest == track.digest; };
    const auto mark = std::find_if(lineup->stems.begin(), lineup->stems.end(), is_it);
    // Of equal stems, as silent ones are, nothing tells which is which.
    if (track.digest == 0 || mark == lineup->stems.end() || mark->file == file ||
        std::count_if(lineup->stems.begin(), lineup->stems.end(), is_it) > 1)
      continue;
    for (CheckedStem& stem : report.stems)
      if (stem.file == file)
        stem.findings.push_back(
            check_finding("swapped", "It holds what was written as \"" + mark->file +
                                         "\", to the sample: files have changed their names. Give "
                                         "it that name back, or conform the session again."));
  }
}

}  // namespace kilter::commands
