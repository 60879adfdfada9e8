#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <optional>

#include "commands.h"
#include "kilter/base/clock_text.h"
#include "kilter/conform/conform.h"
#include "kilter/edits/lineup_file.h"
#include "kilter/edits/text_file.h"
#include "kilter/report/check_report.h"
#include "kilter/sync/align.h"
#include "kilter/sync/residuals.h"
#include "kilter/sync/unexplained.h"
#include "lineup_builder.h"
#include "outputs.h"

namespace kilter::commands {
namespace {

namespace fs = std::filesystem;
using report::CheckedStem;
using report::CheckReport;
using report::Verdict;
using survey::Survey;
using survey::SurveyTrack;

// A track that sounds in so many windows without the mix bearing it out may have slipped out of
// reach.
constexpr int kUnheard = 2;
constexpr double kShortSession_s = 1200.0;  // where every window may be looked into
constexpr int kSurelyAStranger = 5;         // windows
constexpr std::size_t kMostTold = 6;        // stretches in one sentence
constexpr double kShownPassing_s = 1e-3;
constexpr double kInvertedShare = 0.7;
constexpr double kNanosecond = 1e-9;
constexpr double kSlopeIsSure = 4.0;        // of its standard errors
constexpr double kSlopeMatters_s = 0.1e-3;  // over the session

/// What is checked: where its sound lies on the mix's time, as somebody claims.
struct Claim {
  std::size_t track{0};  ///< index into Survey::tracks
  TimeMap map;
  bool inverted{false};
};

// ---- what there is to check

/// Stems as conform leaves them lie in a folder of their own.
fs::path folder_of_stems(const fs::path& dir) {
  std::error_code code;
  return fs::is_directory(dir / "stems", code) ? dir / "stems" : dir;
}

/// The mix that conform put beside the stems. Its name is all that is taken from the lineup.
std::optional<fs::path> mix_beside(const fs::path& dir, const fs::path& stems) {
  std::error_code code;
  if (!fs::is_regular_file(dir / "lineup.json", code)) return std::nullopt;
  const auto lineup = edits::read_lineup(dir / "lineup.json");
  if (!lineup || !lineup->mix) return std::nullopt;
  const fs::path mix = stems / *conform::stem_files(*lineup).mix;
  if (!fs::is_regular_file(mix, code)) return std::nullopt;
  return mix;
}

Result<session::Session> stems_session(const Options& options) {
  const std::vector<fs::path>& given = options.session;
  std::error_code code;
  if (given.size() != 1 || !fs::is_directory(given.front(), code))
    return session::open_session(given, options.mix);
  const fs::path& dir = given.front();
  const fs::path stems = folder_of_stems(dir);
  const auto mix = options.mix ? options.mix : mix_beside(dir, stems);
  auto session = session::open_session({stems}, mix);
  if (session && stems != dir) {
    const std::string name = fs::weakly_canonical(dir, code).filename().string();
    if (!name.empty()) session->name = name;
  }
  return session;
}

TimeMap in_place(double length_s) { return *TimeMap::line(0.0, 0.0, length_s, 0.0); }

/// From track time to the mix's own: the timeline runs on where the mix lost or repeated a stretch.
std::optional<TimeMap> onto_mix(const TimeMap& track, const std::vector<Span>& mix) {
  std::vector<Span> spans;
  for (const Span& t : track.spans())
    for (const Span& m : mix) {
      const double from_s = std::max(t.line_from_s, m.line_from_s);
      const double to_s = std::min(t.line_to_s, m.line_to_s);
      if (to_s - from_s < kNanosecond) continue;
      const auto track_s = [&](double line_s) {
        return t.from_s + (line_s - t.line_from_s) / t.rate();
      };
      const auto mix_s = [&](double line_s) {
        return m.from_s + (line_s - m.line_from_s) / m.rate();
      };
      spans.push_back({track_s(from_s), track_s(to_s), mix_s(from_s), mix_s(to_s), 0.0});
    }
  auto map = TimeMap::make(std::move(spans));
  if (!map) return std::nullopt;
  return *std::move(map);
}

/// What the lineup claims of the survey's track; nothing where it does not place it.
std::optional<Claim> claim_of(const Lineup& lineup, const Survey& survey, std::size_t index) {
  const SurveyTrack& track = survey.tracks[index];
  const std::string& file = survey.files[track.file].name;
  for (const LineupTrack& each : lineup.tracks) {
    if (!each.is_used() || each.parts.front().file != file ||
        each.parts.front().channel != track.channel)
      continue;
    auto map = onto_mix(*each.map, lineup.mix->spans);
    if (!map) return std::nullopt;
    return Claim{index, *std::move(map), each.inverted};
  }
  return std::nullopt;
}

// ---- words

std::string late_text(double late_s) {
  return short_time_text(late_s) + (late_s < 0.0 ? " early" : " late");
}

Finding finding_of(const char* code, std::string text, std::optional<double> line_s = {}) {
  Finding finding;
  finding.code = code;
  finding.text = std::move(text);
  finding.line_s = line_s;
  return finding;
}

/// Every line that the stem stands on, where there are several, or one that slopes.
std::string course(const sync::Residual& residual) {
  std::string text;
  if (residual.runs.size() > 1) {
    text = " It stands ";
    for (std::size_t i = 0; i < residual.runs.size() && i < kMostTold; ++i) {
      const auto& run = residual.runs[i];
      text += fmt::format("{}{} from {} to {}", i == 0 ? "" : ", ", late_text(run.late_s),
                          clock_text(run.from_s), clock_text(run.to_s));
    }
    return text + (residual.runs.size() > kMostTold ? " and so on." : ".");
  }
  const auto& run = residual.runs.front();
  const double over_s = run.slope * (run.to_s - run.from_s);
  if (std::abs(run.slope) < kSlopeIsSure * run.slope_sigma || std::abs(over_s) < kSlopeMatters_s)
    return text;
  return fmt::format(" It runs {:.3g} ppm too {}: {} from {} to {}.", 1e6 * std::abs(run.slope),
                     run.slope > 0.0 ? "slowly" : "fast", late_text(over_s), clock_text(run.from_s),
                     clock_text(run.to_s));
}

Finding misaligned(const sync::Residual& residual) {
  return finding_of(
      "misaligned",
      fmt::format("At {} it stands {} against the mix, +-{}.{} Conform the session again, or move "
                  "the stem there.",
                  clock_text(residual.worst_at_s), late_text(residual.worst_s),
                  short_time_text(residual.uncertainty_s), course(residual)),
      residual.worst_at_s);
}

Finding no_evidence(const sync::Residual& residual) {
  std::string text;
  if (residual.speaking == 0)
    text = "It is silent, so nothing tells whether it is in place.";
  else if (residual.clear == 0 && residual.speaking >= kSurelyAStranger)
    text = fmt::format(
        "The mix bears out none of the {} stretches in which it sounds: it is of another session, "
        "or "
        "further off than can be found.",
        residual.speaking);
  else if (residual.runs.empty() || !residual.has_evidence())
    text =
        fmt::format("The mix bears out {} of the {} stretches in which it sounds: too few to tell.",
                    residual.clear, residual.speaking);
  else
    text = fmt::format("It stands {} at {}, but that is known to +-{} only.",
                       late_text(residual.worst_s), clock_text(residual.worst_at_s),
                       short_time_text(residual.uncertainty_s));
  return finding_of("no-evidence", text + " Listen to it against the mix.");
}

/// Where --allow-silent would let the stem pass, it is named.
void name_the_option(CheckedStem& stem) {
  if (stem.verdict != Verdict::no_evidence || !report::hardly_sounds(stem)) return;
  for (Finding& finding : stem.findings)
    if (finding.code == "no-evidence") finding.text += " --allow-silent lets it pass.";
}

/// What is wrong with the file itself.
void add_damage(const SurveyTrack& track, CheckedStem& stem) {
  for (const Finding& finding : track.findings)
    if (finding.code == "truncated" || finding.code == "dropout" ||
        finding.code == "not-a-number" || finding.code == "duplicate")
      stem.findings.push_back(finding);
}

void add_notes(const sync::Residual& residual, CheckedStem& stem) {
  if (residual.unheard_in_a_row >= kUnheard)
    stem.findings.push_back(finding_of(
        "unheard",
        fmt::format(
            "It sounds in {} windows in a row, from about {} on, that the mix does not bear "
            "out. Listen there: it may be out of place by seconds, or left out of the mix.",
            residual.unheard_in_a_row, clock_text(residual.unheard_from_s, 0)),
        residual.unheard_from_s));
  if (residual.in_stairs)
    stem.findings.push_back(finding_of(
        "excursion",
        fmt::format("The mix plays it in stairs of up to {}, as a network stream does that is "
                    "spliced instead of drifting. The stem is held against the line through them.",
                    short_time_text(residual.stair_s))));
  double furthest_s = 0.0;
  std::size_t count = 0;
  const sync::PassingDeparture* first = nullptr;
  for (const auto& passing : residual.passing) {
    if (std::abs(passing.late_s) < kShownPassing_s) continue;
    if (++count == 1) first = &passing;
    furthest_s = std::max(furthest_s, std::abs(passing.late_s));
  }
  if (count > 0)
    stem.findings.push_back(finding_of(
        "excursion",
        fmt::format(
            "The mix departs from it {}, by up to {}, {} {}, and comes back within seconds: "
            "the network stream's doing, not the stem's.",
            count == 1 ? "once" : fmt::format("{} times", count), short_time_text(furthest_s),
            count == 1 ? "at" : "first at", clock_text(first->from_s)),
        first->from_s));
}

// ---- verdicts

/// The places by the estimator, for tracks that are not where they are claimed to be: asked for no
/// other.
void find_elsewhere(const Claim& claim, const sync::TrackPlacing& placing, double limit_s,
                    CheckedStem& stem) {
  if (!placing.map || stem.verdict == Verdict::beyond) return;
  double worst_s = 0.0;
  double worst_at_s = 0.0;
  for (const Span& span : placing.map->spans())
    for (const double share : {0.02, 0.5, 0.98}) {
      const double track_s = span.from_s + share * (span.to_s - span.from_s);
      const auto true_s = placing.map->to_line(track_s);
      const auto claimed_s = claim.map.to_line(track_s);
      if (!true_s || !claimed_s || std::abs(*claimed_s - *true_s) <= std::abs(worst_s)) continue;
      worst_s = *claimed_s - *true_s;
      worst_at_s = std::max(*claimed_s, 0.0);
    }
  const double bound_s = 1e-6 * placing.uncertainty_us;
  if (std::abs(worst_s) <= limit_s + bound_s) return;
  const bool sure = placing.standing == Standing::firm;
  std::erase_if(stem.findings, [](const Finding& each) { return each.code == "no-evidence"; });
  stem.verdict = Verdict::beyond;
  stem.worst_s = worst_s;
  stem.worst_at_s = worst_at_s;
  stem.uncertainty_us = placing.uncertainty_us;
  std::string text = fmt::format("At {} it stands {} against the mix, +-{}{}.",
                                 clock_text(worst_at_s), late_text(worst_s),
                                 short_time_text(bound_s), sure ? "" : ", as far as can be told");
  for (const Finding& finding : placing.findings)
    if (finding.rate_hz)
      text += fmt::format(" By its sound it was made at {:g} Hz, whatever its header states.",
                          *finding.rate_hz);
  if (const auto spans = placing.map->spans(); spans.size() > 1 && spans.size() <= kMostTold)
    for (const Span& span : spans) {
      const double middle_s = 0.5 * (span.from_s + span.to_s);
      const auto claimed_s = claim.map.to_line(middle_s);
      const auto true_s = placing.map->to_line(middle_s);
      if (claimed_s && true_s)
        text += fmt::format(" From {} to {}: {}.", clock_text(span.line_from_s),
                            clock_text(span.line_to_s), late_text(*claimed_s - *true_s));
    }
  stem.findings.insert(
      stem.findings.begin(),
      finding_of("misaligned", text + " Conform the session again, or move the stem there.",
                 worst_at_s));
}

void judge(const sync::Residual& residual, const Claim& claim, double limit_s, CheckedStem& stem) {
  stem.clear = residual.clear;
  stem.speaking = residual.speaking;
  if (!residual.has_evidence()) {
    stem.verdict = Verdict::no_evidence;
    stem.findings.push_back(no_evidence(residual));
    return;
  }
  stem.worst_s = residual.worst_s;
  stem.worst_at_s = residual.worst_at_s;
  stem.uncertainty_us = 1e6 * residual.uncertainty_s;
  double seconds = 0.0;
  for (const auto& run : residual.runs) {
    stem.slope_ppm += 1e6 * run.slope * (run.to_s - run.from_s);
    seconds += run.to_s - run.from_s;
  }
  stem.slope_ppm = seconds > 0.0 ? stem.slope_ppm / seconds : 0.0;
  const double away_s = std::abs(residual.worst_s);
  if (away_s > limit_s) {
    stem.verdict = Verdict::beyond;
    stem.findings.push_back(misaligned(residual));
  } else if (away_s + residual.uncertainty_s > limit_s && !residual.in_stairs) {
    stem.verdict = Verdict::no_evidence;
    stem.findings.push_back(no_evidence(residual));
  } else {
    stem.verdict = Verdict::within;
    if (const std::string told = course(residual); !told.empty())
      stem.findings.push_back(finding_of("slope", "Within the limit, but not still:" + told));
  }
  const bool inverted = residual.inverted > kInvertedShare * residual.clear;
  if (inverted != claim.inverted) {
    stem.verdict = Verdict::beyond;
    stem.findings.push_back(
        finding_of("inverted",
                   "Its polarity is opposite to the mix's. Turn it round, or what others' "
                   "microphones hear of it is cancelled."));
  }
  add_notes(residual, stem);
}

std::vector<report::CheckedMinute> by_minute(const std::vector<sync::ResidualWindow>& windows,
                                             const sync::Residual& residual, double length_s) {
  std::vector<report::CheckedMinute> minutes(
      static_cast<std::size_t>(std::ceil(std::max(length_s, 1.0) / 60.0)));
  std::vector<double> sums(minutes.size(), 0.0);
  for (const auto& window : windows) {
    if (!window.clear) continue;
    const auto at = std::min(static_cast<std::size_t>(window.line_s / 60.0), minutes.size() - 1);
    for (const auto& run : residual.runs) {
      if (window.line_s < run.from_s || window.line_s > run.to_s) continue;
      sums[at] += run.at(window.line_s);
      ++minutes[at].windows;
    }
  }
  for (std::size_t i = 0; i < minutes.size(); ++i)
    if (minutes[i].windows > 0) minutes[i].late_s = sums[i] / minutes[i].windows;
  return minutes;
}

// ---- the null

void add_null(const sync::Unexplained& unexplained, double length_s, CheckReport& report) {
  const auto minutes = static_cast<std::size_t>(std::ceil(std::max(length_s, 1.0) / 60.0));
  std::vector<double> mix(minutes, 0.0);
  std::vector<double> left(minutes, 0.0);
  bool any = false;
  for (std::size_t i = 0; i < unexplained.halves.size(); ++i) {
    const sync::HalfSecond& half = unexplained.halves[i];
    if (half.kind == sync::HalfKind::uncovered || half.kind == sync::HalfKind::quiet) continue;
    const double at_s = unexplained.from_s + 0.5 * static_cast<double>(i);
    const auto minute = std::min(static_cast<std::size_t>(std::max(at_s, 0.0) / 60.0), minutes - 1);
    const double power = std::pow(10.0, 0.1 * half.mix_db);
    mix[minute] += power;
    left[minute] += power * std::pow(10.0, 0.1 * half.depth_db);
    any = true;
  }
  for (std::size_t i = 0; i < minutes; ++i)
    report.null_db_by_minute.push_back(
        mix[i] > 0.0 ? std::optional(10.0 * std::log10(std::max(left[i] / mix[i], 1e-12)))
                     : std::nullopt);
  if (any) report.null_db = unexplained.typical_depth_db;
  if (unexplained.voice_s > 0.0)
    report.findings.push_back(finding_of(
        "missing-voice",
        fmt::format(
            "The mix holds somebody whom no stem explains, {}, first at {}, {} in all. "
            "Listen there.",
            unexplained.voice.size() == 1 ? "once"
                                          : fmt::format("{} times", unexplained.voice.size()),
            clock_text(unexplained.voice.front().line_from_s), clock_text(unexplained.voice_s, 1)),
        unexplained.voice.front().line_from_s));
}

/// What the survey knows of a track that is not measured.
void tell_why_not_measured(const Survey& survey, const SurveyTrack& track, CheckedStem& stem) {
  if (track.role == Role::ignore || track.role == Role::mix ||
      track.mix_copy != survey::MixCopy::no) {
    stem.verdict = Verdict::left_out;
    for (const Finding& finding : track.findings) stem.findings.push_back(finding);
    return;
  }
  stem.verdict = Verdict::no_evidence;
  if (survey.files[track.file].failure) {
    for (const Finding& finding : track.findings) stem.findings.push_back(finding);
  } else if (!track.signal) {
    stem.findings.push_back(no_evidence({}));
  } else {
    stem.findings.push_back(finding_of("no-evidence", "The lineup gives it no place."));
  }
}

Error no_mix_known(const Survey& survey) {
  std::string what = "the mix to check against is not known";
  for (const Finding& finding : survey.findings)
    if (finding.code == "several-mixes")
      what += ": " + finding.text.substr(0, finding.text.rfind(". "));
  return {ErrorKind::no_input, {}, what, "name it with --mix FILE"};
}

/// The lineup that is to be checked, if one is.
Result<std::optional<Lineup>> lineup_to_check(const Options& options) {
  if (!options.lineup) return std::optional<Lineup>{};
  auto lineup = edits::read_lineup(*options.lineup);
  if (!lineup) return lineup.error();
  if (!lineup->mix)
    return Error{ErrorKind::no_input, *options.lineup, "holds no mix to check against",
                 "align the session with its mix"};
  return std::optional(*std::move(lineup));
}

Result<session::Session> session_to_check(const Options& options,
                                          const std::optional<Lineup>& lineup) {
  if (!lineup) return stems_session(options);
  auto session = open(options);
  if (!session || session->mix) return session;
  for (std::size_t i = 0; i < session->files.size(); ++i)
    if (session->files[i].name == lineup->mix->file) session->mix = i;
  return session;
}

std::vector<Claim> claims_of(const std::optional<Lineup>& lineup, const Survey& survey,
                             const AlignInput& input) {
  std::vector<Claim> claims;
  for (const std::size_t index : input.survey_tracks) {
    if (!lineup) {
      const double length_s = survey.files[survey.tracks[index].file].length_s();
      claims.push_back({index, in_place(length_s), false});
    } else if (auto claim = claim_of(*lineup, survey, index)) {
      claims.push_back(*std::move(claim));
    }
  }
  return claims;
}

/// What is measured of the claims, in their order.
struct Checked {
  std::vector<std::vector<sync::ResidualWindow>> windows;
  std::vector<sync::Residual> residuals;
  std::optional<sync::Alignment> elsewhere;  ///< of all tracks, where any is not to be found
};

bool is_lost(const sync::Residual& residual, double mix_length_s) {
  const int allowed = mix_length_s < kShortSession_s ? 0 : kUnheard - 1;
  return residual.speaking > 0 && (!residual.has_evidence() || residual.unheard_in_a_row > allowed);
}

/// Whether it passes only because the mix may be to blame.
bool departs(const sync::Residual& residual, double limit_s) {
  return std::any_of(residual.passing.begin(), residual.passing.end(),
                     [&](const auto& each) { return std::abs(each.late_s) > limit_s; });
}

/// Whether a person's track holds nothing to measure.
bool any_mute(const Survey& survey) {
  return std::any_of(survey.tracks.begin(), survey.tracks.end(), [](const SurveyTrack& track) {
    return !track.signal && !track.copy_of && track.mix_copy == survey::MixCopy::no &&
           track.role != Role::ignore && track.role != Role::mix;
  });
}

/// `claimed` are the survey's indices of `tracks`.
Result<Checked> measure(const AlignInput& input, const std::vector<sync::MappedTrack>& tracks,
                        const std::vector<std::size_t>& claimed, bool any_is_mute, bool are_stems,
                        const Options& options, Console& console) {
  Checked checked;
  sync::ResidualOptions residuals;
  residuals.threads = options.threads;
  residuals.stop = &console.stop();
  residuals.progress = [&](double done) { console.progress("checking", done); };
  auto windows = sync::measure_residuals(*input.mix.signal, input.mix.length_s, tracks, residuals);
  if (!windows) return windows.error();
  checked.windows = *std::move(windows);
  for (const auto& list : checked.windows) checked.residuals.push_back(sync::judge_residuals(list));
  const double limit_s = 1e-3 * options.limit_ms;
  if (std::none_of(checked.residuals.begin(), checked.residuals.end(), [&](const auto& each) {
        return is_lost(each, input.mix.length_s) || departs(each, limit_s);
      }))
    return checked;

  std::vector<sync::TrackInput> all = input.tracks;
  // Stems are all as long, which elsewhere speaks for one recorder, and here for nothing.
  constexpr double kApart_s = 0.01;
  for (std::size_t k = 0; are_stems && k < all.size(); ++k)
    all[k].length_s = std::max(all[k].length_s - kApart_s * static_cast<double>(k), kApart_s);
  sync::AlignOptions align;
  align.threads = options.threads;
  align.stop = &console.stop();
  align.recorders = !are_stems;
  align.progress = [&](double done, const char*) { console.progress("looking further", done); };
  auto elsewhere = sync::align(input.mix, all, align);
  if (!elsewhere) return elsewhere.error();
  checked.elsewhere = *std::move(elsewhere);
  // Whom neighbours hear sat in the room: no network stream held him back. But of somebody whose
  // own stem is silent a neighbour's may be what is heard, later by the way through the room.
  const bool all_sound = std::all_of(checked.residuals.begin(), checked.residuals.end(),
                                     [](const auto& each) { return each.has_evidence(); });
  for (std::size_t k = 0; k < claimed.size() && all_sound && !any_is_mute; ++k) {
    const auto at = std::find(input.survey_tracks.begin(), input.survey_tracks.end(), claimed[k]) -
                    input.survey_tracks.begin();
    const sync::TrackPlacing& placing = checked.elsewhere->tracks[static_cast<std::size_t>(at)];
    if (departs(checked.residuals[k], limit_s) && placing.standing != Standing::unplaced &&
        !placing.remote)
      checked.residuals[k] = sync::judge_residuals(checked.windows[k], 0.0);
  }
  return checked;
}

/// A row for every track of the survey; a copy has its original's verdict.
std::vector<CheckedStem> rows_of(const Survey& survey, const AlignInput& input,
                                 const std::vector<Claim>& claims, const Checked& checked,
                                 double limit_s) {
  std::vector<CheckedStem> rows;
  for (std::size_t i = 0; i < survey.tracks.size(); ++i) {
    const SurveyTrack& track = survey.tracks[i];
    CheckedStem& stem = rows.emplace_back();
    stem.name = track.name;
    stem.file = survey.files[track.file].name;
    const std::size_t original = track.copy_of.value_or(i);
    const auto claim = std::find_if(claims.begin(), claims.end(),
                                    [&](const Claim& each) { return each.track == original; });
    if (claim == claims.end()) {
      tell_why_not_measured(survey, track, stem);
      name_the_option(stem);
      continue;
    }
    add_damage(track, stem);
    const auto k = static_cast<std::size_t>(claim - claims.begin());
    const sync::Residual& residual = checked.residuals[k];
    judge(residual, *claim, limit_s, stem);
    stem.minutes = by_minute(checked.windows[k], residual, input.mix.length_s);
    name_the_option(stem);
    if (!checked.elsewhere || !is_lost(residual, input.mix.length_s)) continue;
    const auto at = std::find(input.survey_tracks.begin(), input.survey_tracks.end(), original) -
                    input.survey_tracks.begin();
    find_elsewhere(*claim, checked.elsewhere->tracks[static_cast<std::size_t>(at)], limit_s, stem);
  }
  return rows;
}

/// Stems of the folder's own lineup that are not there, or not as long as the mix: a folder that
/// conform wrote is whole, or it does not pass.
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
        finding_of("missing-stem", "Its stem is not there. Conform the session again."));
  }
  const double mix_s = survey.files[survey.mix->file].length_s();
  for (CheckedStem& stem : report.stems)
    for (const survey::SurveyFile& file : survey.files) {
      constexpr double kFrame_s = 1e-5;
      if (file.name != stem.file || file.failure || std::abs(file.length_s() - mix_s) < kFrame_s)
        continue;
      stem.findings.push_back(finding_of(
          "unequal-length",
          fmt::format("It lasts {}, and the mix beside it {}: it is not as it was written. Conform "
                      "the session again.",
                      clock_text(file.length_s()), clock_text(mix_s))));
    }
}

/// Files that hold, to the sample, what conform wrote under another's name.
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
            finding_of("swapped", "It holds what was written as \"" + mark->file +
                                      "\", to the sample: files have changed their names. Give "
                                      "it that name back, or conform the session again."));
  }
}

/// Whether what others hear of this stem's person may be taken for themselves.
bool misleads(const CheckedStem& other, const CheckedStem& stem) {
  const bool is_gone = other.verdict == Verdict::no_evidence && !report::hardly_sounds(other);
  const bool is_off = other.worst_s && other.verdict == Verdict::beyond && stem.worst_s &&
                      std::abs(*other.worst_s) > std::abs(*stem.worst_s);
  return is_gone || is_off || holds(other.findings, "missing-stem");
}

/// A neighbour's microphone hears a person who is missing or out of place as well, later by the way
/// through the room: what is said of it then may be that person's.
void tell_whom_to_mend_first(std::vector<CheckedStem>& stems) {
  for (CheckedStem& stem : stems) {
    if (stem.verdict != Verdict::beyond && !holds(stem.findings, "excursion")) continue;
    const auto other = std::find_if(stems.begin(), stems.end(), [&](const CheckedStem& each) {
      return each.name != stem.name && misleads(each, stem);
    });
    if (other == stems.end()) continue;
    stem.findings.push_back(finding_of(
        "mend-first", "See to \"" + other->name +
                          "\" first and check again: what this microphone hears of that person "
                          "from across the room may be what was measured."));
  }
}

}  // namespace

Result<Exit> check_command(const Options& options, Console& console) {
  const auto lineup = lineup_to_check(options);
  if (!lineup) return lineup.error();
  const auto session = session_to_check(options, *lineup);
  if (!session) return session.error();
  if (options.junit)
    if (auto refused = output_refusal(*options.junit, *session)) return *std::move(refused);
  const auto survey = load(*session, options, true, console);
  if (!survey) return survey.error();
  if (!survey->mix) return no_mix_known(*survey);
  const auto input = align_input(*survey);
  if (!input) return input.error();

  const std::vector<Claim> claims = claims_of(*lineup, *survey, *input);
  std::vector<sync::MappedTrack> tracks;
  std::vector<std::size_t> claimed;
  for (const Claim& claim : claims) {
    tracks.push_back({survey->tracks[claim.track].signal.get(), &claim.map});
    claimed.push_back(claim.track);
  }
  const auto checked =
      measure(*input, tracks, claimed, any_mute(*survey), !*lineup, options, console);
  if (!checked) return checked.error();

  CheckReport report;
  report.session = session->name;
  report.mix = survey->files[survey->mix->file].name;
  report.length_s = input->mix.length_s;
  report.limit_ms = options.limit_ms;
  report.allow_silent = options.allow_silent;
  report.findings = survey->findings;
  report.stems = rows_of(*survey, *input, claims, *checked, 1e-3 * options.limit_ms);
  if (!*lineup && options.session.size() == 1) {
    tell_what_is_not_whole(options.session.front(), *survey, report);
    tell_what_is_swapped(options.session.front(), *survey, report);
  }
  tell_whom_to_mend_first(report.stems);
  const TimeMap mix_map = in_place(report.length_s);
  console.progress("the null", 0.0);
  const auto unexplained = sync::find_unexplained(
      {input->mix.signal, &mix_map}, tracks, {.threads = options.threads, .stop = &console.stop()});
  if (!unexplained) return unexplained.error();
  add_null(*unexplained, report.length_s, report);

  if (options.junit)
    if (auto written = edits::write_text(*options.junit, report::check_junit(report)); !written)
      return written.error();
  const auto printed =
      console.print(options.json ? report::check_json(report) : report::check_text(report));
  if (!printed) return printed.error();
  return report::passes(report) ? Exit::done : Exit::needs_person;
}

}  // namespace kilter::commands
