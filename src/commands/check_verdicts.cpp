#include "check_verdicts.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "check_words.h"
#include "kilter/base/clock_text.h"
#include "kilter/base/decibels.h"
#include "kilter/report/finding_words.h"
#include "lineup_builder.h"

namespace kilter::commands {

using report::CheckedStem;
using report::CheckReport;
using report::Verdict;
using survey::SurveyTrack;

namespace {

constexpr int kSurelyAStranger = 5;   // windows
constexpr std::size_t kMostTold = 6;  // stretches in one sentence
constexpr double kShownPassing_s = 1e-3;
constexpr double kInvertedShare = 0.7;
constexpr double kTogether_s = 0.1e-3;
constexpr double kBeyondWindows_s = 0.1;  // nearer, windows tell
constexpr double kOneStretch_s = 2e-3;
constexpr std::size_t kFewestAlike = 3;

/// Of all that stands as far off, the stretch that holds the worst place.
const sync::ResidualRun* worst_run(const sync::Residual& residual) {
  for (const auto& run : residual.runs)
    if (run.from_s <= residual.worst_at_s && residual.worst_at_s <= run.to_s) return &run;
  return nullptr;
}

Finding misaligned(const sync::Residual& residual, const std::vector<sync::Phrase>& phrases,
                   double limit_s, const StemFacts& facts) {
  const std::string course = course_text(residual, limit_s, phrases);
  const bool stays = residual.runs.size() == 1 && course.empty();
  const bool drifts = drift_of(residual).has_value();
  const auto step = drifts ? std::nullopt : step_of(residual, limit_s, phrases);
  std::string next = "move that stretch";
  if (drifts)
    next = "take the drift out: moving it mends a single place";
  else if (step)
    next = step_mending(*step);
  else if (stays)
    next = "move the stem";
  const sync::ResidualRun* const run = worst_run(residual);
  const double from_s = run != nullptr ? run->from_s : residual.worst_at_s;
  const double to_s = run != nullptr ? run->to_s : residual.worst_at_s;
  Finding finding = check_finding(
      "misaligned",
      fmt::format("At {} it stands {} against the mix, +-{}{}.{}{}",
                  clock_text(residual.worst_at_s), late_text(residual.worst_s),
                  short_time_text(residual.uncertainty_s), stays ? ", and so throughout" : "",
                  course, mend_text(facts, next, from_s, to_s)),
      residual.worst_at_s);
  if (step) {
    finding.line_s = step->off_from_s;
    finding.step_s = -step->late_s;  // positive where sound is lost
  }
  return finding;
}

void add_notes(const sync::Residual& residual, const StemFacts& facts, CheckedStem& stem) {
  if (residual.in_stairs)
    stem.findings.push_back(check_finding(
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
    stem.findings.push_back(check_finding(
        "excursion",
        fmt::format(
            "The mix departs from it {}, by up to {}, {} {}, and comes back within seconds: {}",
            count == 1 ? "once" : fmt::format("{} times", count), short_time_text(furthest_s),
            count == 1 ? "at" : "first at", clock_text(first->from_s),
            departure_text(facts, first->from_s, first->to_s)),
        first->from_s));
}

/// Whether any stem is not where the mix has its person, or says nothing.
bool any_astray(const CheckReport& report) {
  return std::any_of(report.stems.begin(), report.stems.end(), [](const CheckedStem& stem) {
    return stem.verdict == Verdict::beyond || stem.verdict == Verdict::no_evidence;
  });
}

/// Aligning passes over what no recording could explain.
std::string outside_text(const std::vector<Stretch>& voice,
                         const std::vector<Stretch>& not_recorded) {
  constexpr double kWorthTelling_s = 0.25;
  double outside_s = 0.0;
  for (const Stretch& each : voice)
    for (const Stretch& gap : not_recorded)
      outside_s += std::max(0.0, std::min(each.line_to_s, gap.line_to_s) -
                                     std::max(each.line_from_s, gap.line_from_s));
  if (outside_s < kWorthTelling_s) return "";
  return ", " + clock_text(outside_s, 1) + " of that while nothing was recorded";
}

}  // namespace

Finding check_finding(const char* code, std::string text, std::optional<double> line_s) {
  Finding finding;
  finding.code = code;
  finding.text = std::move(text);
  finding.line_s = line_s;
  return finding;
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
  return check_finding("no-evidence", text + " Listen to it against the mix.");
}

void name_the_option(CheckedStem& stem) {
  if (stem.verdict != Verdict::no_evidence || !report::hardly_sounds(stem)) return;
  for (Finding& finding : stem.findings)
    if (finding.code == "no-evidence") finding.text += " --allow-silent lets it pass.";
}

void add_damage(const SurveyTrack& track, bool has_a_hole, std::string_view whose,
                CheckedStem& stem) {
  for (const Finding& finding : track.findings)
    if (finding.code == "truncated" || (finding.code == "dropout" && !has_a_hole) ||
        finding.code == "not-a-number" || finding.code == "duplicate") {
      stem.findings.push_back(finding);
      stem.findings.back().text = report::text_with_clocks(finding, nullptr, whose);
    }
}

void find_elsewhere(const Claim& claim, const sync::TrackPlacing& placing, double limit_s,
                    const StemFacts& facts, CheckedStem& stem) {
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
  const bool in_steps = placing.map->spans().size() > 1;
  std::string next = mend_text(facts, in_steps ? "move that stretch" : "move the stem there",
                               worst_at_s, worst_at_s);
  for (const Finding& finding : placing.findings)
    if (finding.rate_hz) {
      text += fmt::format(" By its sound it was made at {:g} Hz, whatever its header states.",
                          *finding.rate_hz);
      next = " Mend the header, or export it anew at its own rate: it need not be moved.";
      // It is not for want of a place that nothing confirms it.
      std::erase_if(stem.findings, [](const Finding& each) { return each.code == "unheard"; });
    }
  if (const auto spans = placing.map->spans(); spans.size() > 1 && spans.size() <= kMostTold)
    for (const Span& span : spans) {
      const double middle_s = 0.5 * (span.from_s + span.to_s);
      const auto claimed_s = claim.map.to_line(middle_s);
      const auto true_s = placing.map->to_line(middle_s);
      if (claimed_s && true_s)
        text += fmt::format(
            " From {} to {}: {}.", clock_text(span.line_from_s), clock_text(span.line_to_s),
            std::abs(*claimed_s - *true_s) <= limit_s ? "in step"
                                                      : late_text(*claimed_s - *true_s));
    }
  stem.findings.insert(stem.findings.begin(), check_finding("misaligned", text + next, worst_at_s));
}

void judge(const sync::Residual& residual, const std::vector<sync::Phrase>& phrases,
           const Claim& claim, double limit_s, const StemFacts& facts, CheckedStem& stem) {
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
  if (const auto drift = drift_of(residual)) stem.slope_ppm = 1e6 * drift->slope();
  const std::string course = course_text(residual, limit_s, phrases);
  const double away_s = std::abs(residual.worst_s);
  if (away_s > limit_s) {
    stem.verdict = Verdict::beyond;
    stem.findings.push_back(misaligned(residual, phrases, limit_s, facts));
  } else if (away_s + residual.uncertainty_s > limit_s && !residual.in_stairs) {
    stem.verdict = Verdict::no_evidence;
    stem.findings.push_back(no_evidence(residual));
  } else {
    stem.verdict = Verdict::within;
    if (!course.empty())
      stem.findings.push_back(check_finding("slope", "Within the limit, but not still:" + course));
  }
  const bool inverted = residual.inverted > kInvertedShare * residual.clear;
  if (inverted != claim.inverted) {
    stem.verdict = Verdict::beyond;
    stem.findings.push_back(
        check_finding("inverted",
                      "Its polarity is opposite to the mix's. Turn it round, or what others' "
                      "microphones hear of it is cancelled."));
  }
  if (!residual.turned.empty()) {
    stem.verdict = Verdict::beyond;
    const auto& first = residual.turned.front();
    stem.findings.push_back(check_finding(
        "inverted",
        fmt::format(
            "Its polarity changes {}: from about {} to {} it is opposite to the rest. Turn that "
            "stretch round.",
            residual.turned.size() == 1 ? "once"
                                        : fmt::format("{} times, first", residual.turned.size()),
            clock_text(first.from_s, 0), clock_text(first.to_s, 0)),
        first.from_s));
  }
  add_notes(residual, facts, stem);
}

void judge_strays(const std::vector<sync::Stray>& strays, const StemFacts& facts,
                  CheckedStem& stem) {
  const auto off_s = [](const sync::Stray& stray) { return stray.mapped_s - stray.mix_s; };
  std::vector<sync::Stray> most;
  for (const sync::Stray& first : strays) {
    if (std::abs(off_s(first)) < kBeyondWindows_s) continue;
    std::vector<sync::Stray> alike;
    for (const sync::Stray& other : strays)
      if (std::abs(off_s(other) - off_s(first)) < kOneStretch_s) alike.push_back(other);
    if (alike.size() > most.size()) most = std::move(alike);
  }
  if (most.size() < kFewestAlike) return;
  stem.verdict = Verdict::beyond;
  stem.worst_s = off_s(most.front());
  stem.worst_at_s = most.front().mapped_s;
  stem.uncertainty_us = 1e6 * kOneStretch_s;
  std::erase_if(stem.findings, [](const Finding& each) { return each.code == "unheard"; });
  stem.findings.push_back(check_finding(
      "misaligned",
      fmt::format(
          "It stands {} {} or so: what it says there is in the mix at another place.{}",
          late_text(*stem.worst_s), stretch_text(most.front().mapped_s, most.back().mapped_s, 0),
          mend_text(facts, "move that stretch", most.front().mapped_s, most.back().mapped_s)),
      most.front().mapped_s));
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

void add_null(const sync::Unexplained& unexplained, double length_s,
              const std::vector<Stretch>& not_recorded, CheckReport& report) {
  const auto minutes = static_cast<std::size_t>(std::ceil(std::max(length_s, 1.0) / 60.0));
  std::vector<double> mix(minutes, 0.0);
  std::vector<double> left(minutes, 0.0);
  bool any = false;
  for (std::size_t i = 0; i < unexplained.halves.size(); ++i) {
    const sync::HalfSecond& half = unexplained.halves[i];
    if (half.kind == sync::HalfKind::uncovered || half.kind == sync::HalfKind::quiet) continue;
    const double at_s = unexplained.from_s + 0.5 * static_cast<double>(i);
    const auto minute = std::min(static_cast<std::size_t>(std::max(at_s, 0.0) / 60.0), minutes - 1);
    const double power = db_to_power(half.mix_db);
    mix[minute] += power;
    left[minute] += power * db_to_power(half.depth_db);
    any = true;
  }
  for (std::size_t i = 0; i < minutes; ++i)
    report.null_db_by_minute.push_back(
        mix[i] > 0.0 ? std::optional(power_to_db(left[i] / mix[i], 1e-12)) : std::nullopt);
  if (any) report.null_db = unexplained.typical_depth_db;
  if (unexplained.voice_s > 0.0)
    report.findings.push_back(check_finding(
        "missing-voice",
        fmt::format(
            "The mix holds somebody whom no stem explains, {}, first at {}, lasting {} in all{}. "
            "{}",
            unexplained.voice.size() == 1 ? "once"
                                          : fmt::format("{} times", unexplained.voice.size()),
            clock_text(unexplained.voice.front().line_from_s), clock_text(unexplained.voice_s, 1),
            outside_text(unexplained.voice, not_recorded),
            any_astray(report)
                ? "Listen there; it may be somebody whose stem is out of place or silent."
                : "Listen there."),
        unexplained.voice.front().line_from_s));
}

bool tell_what_all_share(CheckReport& report) {
  std::vector<const CheckedStem*> heard;
  for (const CheckedStem& stem : report.stems)
    if (stem.speaking > 0) heard.push_back(&stem);
  if (heard.size() < 2) return false;
  const auto all = [&](const auto& holds_for) {
    return std::all_of(heard.begin(), heard.end(), holds_for);
  };
  if (all([](const CheckedStem* each) {
        return each->clear == 0 && each->speaking >= kSurelyAStranger;
      })) {
    report.findings.push_back(check_finding(
        "foreign-mix",
        "Nothing in any stem is borne out by the mix: it is another session's, or lies far "
        "off. Name the right one with --mix FILE."));
    return true;
  }
  if (all([](const CheckedStem* each) { return report::is_only_inverted(*each); })) {
    report.findings.push_back(check_finding(
        "all-inverted",
        "All stems are of opposite polarity to the mix: it is the mix that was turned round, or "
        "the export. Turn the mix round, or export again."));
    return true;
  }
  const CheckedStem& first = *heard.front();
  if (!all([&](const CheckedStem* each) {
        return holds(each->findings, "misaligned") && each->verdict == Verdict::beyond &&
               each->worst_s && first.worst_s &&
               std::abs(*each->worst_s - *first.worst_s) < kTogether_s;
      }))
    return false;
  // What is moved with the mix is in place again: nothing is to be done about each, but for what
  // was hardly found where it should be, of which a wrong header may be the cause.
  for (CheckedStem& stem : report.stems) {
    std::erase_if(stem.findings, [](const Finding& each) {
      return each.code == "muted" || each.code == "unheard";
    });
    for (Finding& finding : stem.findings)
      if (finding.code == "misaligned" && 2 * stem.clear > stem.speaking)
        finding.text = fmt::format("It stands {} against the mix, as all stems do.",
                                   late_text(*first.worst_s));
  }
  report.findings.push_back(check_finding(
      "all-misaligned",
      fmt::format("All stems stand {} alike: it is the mix that moved, or where the export began. "
                  "Move the mix, or export again from the same start.",
                  late_text(*first.worst_s))));
  return true;
}

}  // namespace kilter::commands
