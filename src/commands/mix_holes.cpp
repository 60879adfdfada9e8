#include "mix_holes.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <string>
#include <string_view>
#include <vector>

#include "kilter/base/clock_text.h"
#include "kilter/base/decibels.h"
#include "kilter/base/quoted_names.h"
#include "kilter/report/lineup_report.h"

namespace kilter::commands {
namespace {

using intake::ZeroRun;
using survey::Survey;
using survey::SurveyTrack;

constexpr double kStretch_s = 0.05;
constexpr std::size_t kStretchFrames = kAnalysisRateHz / 20;
// Against the track's own loudest: a gate that closes on so much would cut up every sentence.
constexpr double kTalks_db = -18.0;
constexpr double kTalksAboveFloor_db = 12.0;
constexpr double kTalksAboveHum_db = 3.0;
constexpr double kSwallowed_s = 0.5;  // talk that vanished though the zeros begin and end in pauses
constexpr double kCutTalk_s = 0.3;    // behind an edge that is loud
constexpr double kNick_s = 0.3;       // amid sound: whoever talks may just draw breath
constexpr double kHeldBack_s = 2.0;   // an excursion's reach round its stretch
constexpr double kMissingNear_s = 10.0;
constexpr double kBeside_s = 2.0;

/// A recording that tells whether its person talks.
struct Witness {
  const LineupTrack* placed;
  const SurveyTrack* heard;
};

struct Hole {
  double from_s;  // mix time
  double length_s;
  Stretch line;
  std::vector<std::string> talkers;
};

std::vector<Witness> witnesses_of(const Survey& survey, const Lineup& lineup) {
  std::vector<Witness> witnesses;
  for (const LineupTrack& track : lineup.tracks) {
    if (!report::is_a_persons(track) || track.standing != Standing::firm || !track.map) continue;
    for (const SurveyTrack& heard : survey.tracks)
      if (heard.name == track.name && heard.signal && heard.levels && !heard.copy_of)
        witnesses.push_back({&track, &heard});
  }
  return witnesses;
}

double power_db(const std::array<float, kStretchFrames>& frames) {
  double sum = 0.0;
  double squares = 0.0;
  for (const float frame : frames) {
    sum += static_cast<double>(frame);
    squares += static_cast<double>(frame) * static_cast<double>(frame);
  }
  const double mean = sum / static_cast<double>(kStretchFrames);
  const double power = squares / static_cast<double>(kStretchFrames) - mean * mean;
  return power_to_db(power, 1e-16);
}

/// Whether something of this code is told of a place within `reach_s` of the line's stretch.
bool is_told_near(const std::vector<Finding>& findings, std::string_view code, const Stretch& line,
                  double reach_s) {
  return std::any_of(findings.begin(), findings.end(), [&](const Finding& finding) {
    return finding.code == code &&
           std::any_of(finding.stretches.begin(), finding.stretches.end(), [&](const Stretch& own) {
             return own.line_from_s - reach_s < line.line_to_s &&
                    own.line_to_s + reach_s > line.line_from_s;
           });
  });
}

/// Whether the run parts a jingle or a teaser from the show: from where the first recording runs no
/// track explains the mix up to it, or from it to where the last one ends. What people say
/// meanwhile is not on air.
bool is_beside_the_show(const Lineup& lineup, const Stretch& line) {
  constexpr std::array<std::string_view, 3> kNotTheShow{"missing-voice", "mix-music", "mix-repeat"};
  double from_s = 1e300;
  double to_s = -1e300;
  for (const LineupTrack& track : lineup.tracks) {
    if (!track.map) continue;
    from_s = std::min(from_s, track.map->spans().front().line_from_s);
    to_s = std::max(to_s, track.map->spans().back().line_to_s);
  }
  from_s = std::max(from_s, lineup.mix->spans.front().line_from_s);
  to_s = std::min(to_s, lineup.mix->spans.back().line_to_s);
  const auto is_all = [&](const Stretch& other) {
    const bool in_front = other.line_from_s - from_s < kBeside_s &&
                          std::abs(other.line_to_s - line.line_from_s) < kBeside_s;
    const bool behind = to_s - other.line_to_s < kBeside_s &&
                        std::abs(other.line_from_s - line.line_to_s) < kBeside_s;
    return in_front || behind;
  };
  return std::any_of(lineup.findings.begin(), lineup.findings.end(), [&](const Finding& finding) {
    return std::find(kNotTheShow.begin(), kNotTheShow.end(), finding.code) != kNotTheShow.end() &&
           std::any_of(finding.stretches.begin(), finding.stretches.end(), is_all);
  });
}

/// What the recordings say of one run of zeros.
class Testimony {
 public:
  explicit Testimony(const Stretch& line)
      : line_(line),
        stretches_(std::max<std::int64_t>(
            1, std::llround((line.line_to_s - line.line_from_s) / kStretch_s))),
        talked_(static_cast<std::size_t>(stretches_), false) {}

  Result<void> hear(const Witness& witness) {
    const TimeMap& map = *witness.placed->map;
    if (!map.to_track(line_.line_from_s) || !map.to_track(line_.line_to_s)) return {};
    is_covered_ = true;
    // A network held this person back: the mix has his words at another time.
    if (is_told_near(witness.placed->findings, "excursion", line_, kHeldBack_s)) return {};
    const intake::Levels& levels = *witness.heard->levels;
    // Hum tells nothing of who talks: then only what rises above it.
    const double loudest_db = levels.hum ? levels.hum->loudest_dbfs : levels.loudest_dbfs;
    const double least_db =
        std::max(loudest_db + kTalks_db,
                 levels.floor_dbfs + (levels.hum ? kTalksAboveHum_db : kTalksAboveFloor_db));
    std::array<float, kStretchFrames> frames{};
    std::int64_t talking = 0;
    for (std::int64_t i = 0; i < stretches_; ++i) {
      const auto track_s = map.to_track(line_.line_from_s + static_cast<double>(i) * kStretch_s);
      if (!track_s) continue;
      const std::int64_t first = std::llround(*track_s * kAnalysisRateHz);
      if (auto read = witness.heard->signal->read(first, frames); !read) return read;
      if (power_db(frames) < least_db) continue;
      ++talking;
      talked_[static_cast<std::size_t>(i)] = true;
    }
    if (talking > 0) talkers_.emplace_back(talking, witness.placed->name);
    return {};
  }

  bool is_covered() const { return is_covered_; }
  double talk_s() const {
    return kStretch_s * static_cast<double>(std::count(talked_.begin(), talked_.end(), true));
  }
  double length_s() const { return kStretch_s * static_cast<double>(stretches_); }
  /// Who talks most there: others hear him across the room.
  std::string talker() const {
    const auto most =
        std::max_element(talkers_.begin(), talkers_.end(),
                         [](const auto& a, const auto& b) { return a.first < b.first; });
    return most == talkers_.end() ? "" : most->second;
  }

 private:
  Stretch line_;
  std::int64_t stretches_;
  std::vector<bool> talked_;
  std::vector<std::pair<std::int64_t, std::string>> talkers_;  // stretches, name
  bool is_covered_{false};
};

/// Where the run lies on the timeline; nothing where the timeline leaves some of it out, as of what
/// was put into the mix.
std::optional<Stretch> on_timeline(const std::vector<Span>& spans, double from_s, double to_s) {
  for (const Span& span : spans)
    if (from_s >= span.from_s && to_s <= span.to_s)
      return Stretch{span.line_from_s + (from_s - span.from_s) * span.rate(),
                     span.line_from_s + (to_s - span.from_s) * span.rate()};
  return std::nullopt;
}

bool is_hole(const ZeroRun& run, bool told_by_mix, bool openings_are_few,
             const Testimony& testimony) {
  const double talk_s = testimony.talk_s();
  const bool is_a_nick = run.loud_before && run.loud_after && testimony.length_s() < kNick_s;
  if (told_by_mix && (talk_s > 0.0 || is_a_nick)) return true;
  const bool is_cut = run.loud_before || (run.loud_after && openings_are_few);
  if (is_cut && talk_s >= std::min(kCutTalk_s, 0.5 * testimony.length_s())) return true;
  return openings_are_few && talk_s >= kSwallowed_s;
}

Finding finding_of(const std::vector<Hole>& holes) {
  double all_s = 0.0;
  std::vector<std::string> talkers;
  Finding finding;
  finding.code = "dropout";
  for (const Hole& hole : holes) {
    all_s += hole.length_s;
    finding.stretches.push_back(hole.line);
    for (const std::string& name : hole.talkers)
      if (!name.empty() && std::find(talkers.begin(), talkers.end(), name) == talkers.end())
        talkers.push_back(name);
  }
  constexpr std::size_t kNamed = 3;
  const bool are_more = talkers.size() > kNamed;
  if (are_more) talkers.resize(kNamed);
  std::string who = talkers.empty() ? "" : ", while " + quoted_names(talkers, "or");
  if (are_more) who += " or others";
  finding.at_s = holes.front().from_s;
  finding.text = fmt::format(
      "Digital silence in {} {}, {} {}, about {} in all{}{}. Listen there; ask "
      "for the mix again, or take what is missing from the stems.",
      holes.size(), holes.size() == 1 ? "place" : "places",
      holes.size() == 1 ? "at" : "the first at", clock_text(*finding.at_s), short_time_text(all_s),
      who,
      talkers.empty()       ? ""
      : talkers.size() == 1 ? " talks"
                            : " talk");
  return finding;
}

}  // namespace

Result<void> judge_mix_holes(const Survey& survey, Lineup& lineup) {
  if (!survey.mix || !lineup.mix || survey.mix->zero_runs.empty()) return {};
  const SampleRate rate = survey.files[survey.mix->file].info.rate;
  const auto witnesses = witnesses_of(survey, lineup);
  intake::ZeroTally tally(rate, intake::Zeroed::mix);
  for (const ZeroRun& run : survey.mix->zero_runs) tally.add(run);
  std::vector<Hole> holes;
  for (const ZeroRun& run : survey.mix->zero_runs) {
    const double from_s = to_seconds(run.from, rate).s;
    const double length_s = to_seconds(run.length, rate).s;
    const auto line = on_timeline(lineup.mix->spans, from_s, from_s + length_s);
    if (!line || is_beside_the_show(lineup, *line)) continue;
    Testimony testimony(*line);
    for (const Witness& witness : witnesses)
      if (auto heard = testimony.hear(witness); !heard) return heard;
    const bool is_known = testimony.is_covered() &&
                          !is_told_near(lineup.findings, "missing-voice", *line, kMissingNear_s);
    if (is_hole(run, tally.counts(run), tally.openings_are_few(), testimony))
      holes.push_back({from_s, length_s, *line, {testimony.talker()}});
    else if (!is_known && tally.counts(run))
      holes.push_back({from_s, length_s, *line, {}});
  }
  std::erase_if(lineup.mix->findings,
                [](const Finding& each) { return each.code == "dropout" && each.at_s; });
  if (!holes.empty()) lineup.mix->findings.push_back(finding_of(holes));
  return {};
}

}  // namespace kilter::commands
