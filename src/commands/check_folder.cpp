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

namespace {

/// Whether there is a file for the stem: as it was written, or exported in another format since.
bool has_stem(const CheckReport& report, const fs::path& stems, const fs::path& file) {
  std::error_code code;
  if (fs::is_regular_file(stems / file, code)) return true;
  return std::any_of(report.stems.begin(), report.stems.end(), [&](const CheckedStem& each) {
    return fs::path(each.file).stem() == file.stem();
  });
}

std::string length_text(const survey::SurveyFile& file, double mix_s) {
  const double missing_s = mix_s - file.length_s();
  constexpr double kFewFrames_s = 0.01;
  if (std::abs(missing_s) >= kFewFrames_s)
    return fmt::format("It lasts {}, and the mix beside it {}", clock_text(file.length_s()),
                       clock_text(mix_s));
  const auto frames = std::llround(std::abs(missing_s) * file.info.rate.hz);
  return fmt::format("It is {} frame{} {} than the mix beside it", frames, frames == 1 ? "" : "s",
                     missing_s > 0.0 ? "shorter" : "longer");
}

}  // namespace

std::optional<Lineup> lineup_left_in(const fs::path& dir, CheckReport& report) {
  std::error_code code;
  if (!fs::exists(dir / "lineup.json", code)) return std::nullopt;
  auto lineup = edits::read_lineup(dir / "lineup.json");
  if (lineup) return *std::move(lineup);
  report.is_whole = false;
  report.findings.push_back(check_finding(
      "unreadable-lineup",
      "The lineup beside the stems cannot be read (" + lineup.error().what +
          "), so that nothing tells whether all stems are there. Conform the session again."));
  return std::nullopt;
}

void tell_what_is_not_whole(const Lineup& lineup, const fs::path& stems, const Survey& survey,
                            CheckReport& report) {
  for (const fs::path& file : conform::stem_files(lineup).tracks) {
    if (!has_stem(report, stems, file)) {
      CheckedStem& stem = report.stems.emplace_back();
      stem.name = file.stem().string();
      stem.file = file.string();
      stem.findings.push_back(
          check_finding("missing-stem", "Its stem is not there. Conform the session again."));
    }
    for (CheckedStem& stem : report.stems)
      if (stem.file == file && stem.verdict == report::Verdict::left_out)
        stem.findings = {check_finding(
            "missing-stem",
            "It holds the mix, not the sound of its track. Conform the session again.")};
  }
  const double mix_s = survey.files[survey.mix->file].length_s();
  for (CheckedStem& stem : report.stems)
    for (const survey::SurveyFile& file : survey.files) {
      constexpr double kFrame_s = 1e-5;
      if (file.name != stem.file || file.failure || file.info.lossy ||
          std::abs(file.length_s() - mix_s) < kFrame_s)
        continue;
      stem.findings.push_back(check_finding(
          "unequal-length",
          length_text(file, mix_s) + ": it is not as it was written. Conform the session again."));
    }
}

void tell_what_is_swapped(const Lineup& lineup, const Survey& survey, CheckReport& report) {
  for (const SurveyTrack& track : survey.tracks) {
    const std::string& file = survey.files[track.file].name;
    const auto is_it = [&](const StemMark& mark) { return mark.digest == track.digest; };
    const auto mark = std::find_if(lineup.stems.begin(), lineup.stems.end(), is_it);
    // Of equal stems, as silent ones are, nothing tells which is which.
    if (track.digest == 0 || mark == lineup.stems.end() ||
        fs::path(mark->file).stem() == fs::path(file).stem() ||
        std::count_if(lineup.stems.begin(), lineup.stems.end(), is_it) > 1)
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
