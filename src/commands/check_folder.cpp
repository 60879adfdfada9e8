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

constexpr double kHalf_s = 0.5;

/// Whether there is a file for the stem: as it was written, or exported in another format since.
bool has_stem(const CheckReport& report, const fs::path& stems, const fs::path& file) {
  std::error_code code;
  if (fs::is_regular_file(stems / file, code)) return true;
  return std::any_of(report.stems.begin(), report.stems.end(), [&](const CheckedStem& each) {
    return fs::path(each.file).stem() == file.stem();
  });
}

std::string length_text(const survey::SurveyFile& file, const survey::SurveyFile& mix) {
  const double mix_s = mix.length_s();
  const double missing_s = mix_s - file.length_s();
  constexpr double kFewFrames_s = 0.01;
  if (std::abs(missing_s) >= kFewFrames_s)
    return fmt::format("It lasts {}, and the mix beside it {}", clock_text(file.length_s()),
                       clock_text(mix_s));
  const auto frames = std::llround(std::abs(missing_s) * file.info.rate.hz);
  return fmt::format("It is {} frame{} {} than the mix beside it", frames, frames == 1 ? "" : "s",
                     missing_s > 0.0 ? "shorter" : "longer");
}

std::string length_finding_text(const survey::SurveyFile& file, const survey::SurveyFile& mix) {
  // As long by its samples.
  if (file.length.n == mix.length.n)
    return fmt::format(
        "It has as many samples as the mix beside it, but its header states {:g} Hz "
        "and the mix's {:g} Hz: mend its header.",
        file.info.rate.hz, mix.info.rate.hz);
  return length_text(file, mix) + ": it is not as it was written. Conform the session again.";
}

/// On the stems' time: where the mix held somebody unexplained when it was aligned already.
std::vector<Stretch> known_to_be_missing(const Lineup& lineup) {
  constexpr double kAround_s = 2.0;
  std::vector<Stretch> known;
  for (const Finding& finding : lineup.findings)
    if (finding.code == "missing-voice")
      for (const Stretch& each : finding.stretches)
        known.push_back({each.line_from_s - lineup.from_s - kAround_s,
                         each.line_to_s - lineup.from_s + kAround_s});
  return known;
}

/// Half seconds inside the stretch of which a stem may be silent, where the lineup knew of none.
std::vector<double> newly_unexplained(const std::vector<Stretch>& voice,
                                      const std::vector<Stretch>& known) {
  std::vector<double> halves;
  for (const Stretch& each : voice)
    for (double at_s = each.line_from_s; at_s + kHalf_s <= each.line_to_s + 1e-6; at_s += kHalf_s)
      if (std::none_of(known.begin(), known.end(), [&](const Stretch& other) {
            return at_s < other.line_to_s && at_s + kHalf_s > other.line_from_s;
          }))
        halves.push_back(at_s);
  return halves;
}

/// Whether any take of the stem lies there by the lineup; true where none is called like it.
bool is_placed_at(const Lineup& lineup, const std::string& name, double stem_s) {
  bool is_known = false;
  for (const LineupTrack& track : lineup.tracks) {
    if (!track.map || (track.voice.empty() ? track.name : track.voice) != name) continue;
    is_known = true;
    if (track.map->to_track(stem_s + lineup.from_s)) return true;
  }
  return !is_known;
}

Result<bool> is_digital_silence(const AnalysisSignal& signal, double from_s) {
  std::vector<float> half(static_cast<std::size_t>(kHalf_s * kAnalysisRateHz));
  const auto first = static_cast<std::int64_t>(std::llround(from_s * kAnalysisRateHz));
  if (auto read = signal.read(first, half); !read) return read.error();
  return std::all_of(half.begin(), half.end(), [](float sample) { return sample == 0.0F; });
}

}  // namespace

std::optional<Lineup> lineup_left_in(const fs::path& dir, CheckReport& report) {
  std::error_code code;
  if (!fs::exists(dir / "lineup.json", code)) return std::nullopt;
  auto lineup = edits::read_lineup(dir / "lineup.json");
  if (lineup) return *std::move(lineup);
  report.findings.push_back(check_finding(
      "unreadable-lineup",
      "The lineup beside the stems cannot be read (" + lineup.error().what +
          "), so that nothing tells whether all stems are there. Conform the session again."));
  return std::nullopt;
}

std::vector<Stretch> gaps_between(std::vector<Stretch> placed, double length_s) {
  std::sort(placed.begin(), placed.end(),
            [](const Stretch& a, const Stretch& b) { return a.line_from_s < b.line_from_s; });
  std::vector<Stretch> gaps;
  double covered_s = 0.0;
  for (const Stretch& each : placed) {
    if (each.line_from_s > covered_s)
      gaps.push_back({covered_s, std::min(each.line_from_s, length_s)});
    covered_s = std::max(covered_s, each.line_to_s);
    if (covered_s >= length_s) return gaps;
  }
  gaps.push_back({covered_s, length_s});
  return gaps;
}

std::vector<Stretch> not_recorded(const Lineup& lineup) {
  std::vector<Stretch> placed;
  for (const LineupTrack& track : lineup.tracks) {
    if (!track.is_used()) continue;
    for (const Span& span : track.map->spans())
      placed.push_back({span.line_from_s - lineup.from_s, span.line_to_s - lineup.from_s});
  }
  return gaps_between(std::move(placed), lineup.to_s - lineup.from_s);
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
  for (const LineupTrack& track : lineup.tracks)
    if (track.standing == Standing::unplaced && track.role != Role::ignore &&
        track.role != Role::mix)
      report.findings.push_back(
          check_finding("no-place", "Of \"" + track.name +
                                        "\" there is no stem: aligning found no place for it. "
                                        "See the lineup's report."));
  const survey::SurveyFile& mix = survey.files[survey.mix->file];
  for (CheckedStem& stem : report.stems)
    for (const survey::SurveyFile& file : survey.files) {
      constexpr double kFrame_s = 1e-5;
      if (file.name != stem.file || file.failure || file.info.lossy ||
          std::abs(file.length_s() - mix.length_s()) < kFrame_s)
        continue;
      stem.findings.push_back(check_finding("unequal-length", length_finding_text(file, mix)));
    }
}

void tell_what_ends_early(const Survey& survey, CheckReport& report) {
  constexpr double kLeast_s = 0.5;
  const double mix_s = survey.files[survey.mix->file].length_s();
  for (const SurveyTrack& track : survey.tracks) {
    const survey::SurveyFile& file = survey.files[track.file];
    if (file.failure || mix_s - file.length_s() < kLeast_s) continue;
    for (CheckedStem& stem : report.stems)
      if (stem.name == track.name && stem.verdict != report::Verdict::left_out)
        stem.findings.push_back(check_finding(
            "ends-early",
            fmt::format("It ends at {}, and the mix at {}. If its person talks after that, export "
                        "it again, to its end.",
                        clock_text(file.length_s()), clock_text(mix_s)),
            file.length_s()));
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

Result<void> tell_what_was_emptied(const Lineup& lineup, const Survey& survey,
                                   const sync::Unexplained& unexplained, CheckReport& report) {
  // Where the mix itself steps, a stem's time is not the mix's.
  if (!lineup.mix || lineup.mix->spans.size() != 1 || lineup.timeline_clock != "mix") return {};
  constexpr double kLeast_s = 2.0;
  const auto halves = newly_unexplained(unexplained.voice, known_to_be_missing(lineup));
  for (const SurveyTrack& track : survey.tracks) {
    std::vector<double> silent;
    for (const double at_s : halves) {
      if (!is_placed_at(lineup, track.name, at_s)) continue;
      // A stem that is silent altogether keeps no signal, and is told of otherwise.
      const auto is_silent =
          track.signal ? is_digital_silence(*track.signal, at_s) : Result<bool>(false);
      if (!is_silent) return is_silent.error();
      if (*is_silent) silent.push_back(at_s);
    }
    if (kHalf_s * static_cast<double>(silent.size()) < kLeast_s) continue;
    for (CheckedStem& stem : report.stems)
      if (stem.file == survey.files[track.file].name)
        stem.findings.push_back(check_finding(
            "emptied",
            fmt::format("It is digital silence where the mix holds somebody whom no stem explains, "
                        "{} in all between {} and {}; when the session was aligned, somebody's "
                        "track explained it. Put that stretch back, or conform the session again.",
                        clock_text(kHalf_s * static_cast<double>(silent.size()), 1),
                        clock_text(silent.front(), 0), clock_text(silent.back() + kHalf_s, 0)),
            silent.front()));
  }
  return {};
}

}  // namespace kilter::commands
