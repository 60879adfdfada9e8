#include "lineup_builder.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <optional>
#include <set>

#include "kilter/base/clock_text.h"
#include "kilter/base/utf8.h"
#include "kilter/report/lineup_report.h"
#include "kilter/session/names.h"
#include "told_times.h"
#include "wrong_mix.h"

namespace kilter::commands {
namespace {

using survey::MixCopy;
using survey::Survey;
using survey::SurveyFile;
using survey::SurveyTrack;

Error no_input(std::string what, std::string next_step) {
  return {ErrorKind::no_input, {}, std::move(what), std::move(next_step)};
}

Error mix_missing(const Survey& survey) {
  std::string what = "the mix of \"" + survey.session + "\" is not known";
  for (const Finding& finding : survey.findings)
    if (finding.code == "no-mix" || finding.code == "several-mixes")
      what += ": " + finding.text.substr(0, finding.text.rfind(". "));
  return no_input(std::move(what), "name it with --mix FILE");
}

bool is_measured(const SurveyTrack& track) {
  return track.signal && !track.copy_of && track.mix_copy == MixCopy::no &&
         track.role != Role::ignore && track.role != Role::mix;
}

/// Recorders' names by the estimator's numbers: letters in order of appearance, or what
/// session.toml says where all of a recorder's tracks agree and no other recorder has the name.
class RecorderNames {
 public:
  RecorderNames(const Survey& survey, const AlignInput& input,
                const std::vector<sync::TrackPlacing>& placings) {
    std::map<int, std::set<std::string>> said;
    std::map<std::string, std::set<int>> users;
    for (std::size_t i = 0; i < placings.size(); ++i) {
      const int recorder = placings[i].recorder;
      if (recorder < 0) continue;
      names_.emplace(recorder, letters(static_cast<int>(names_.size())));
      const std::string& name = survey.tracks[input.survey_tracks[i]].recorder;
      said[recorder].insert(name);
      users[name].insert(recorder);
    }
    for (const auto& [recorder, words] : said) {
      const std::string& name = *words.begin();
      if (words.size() == 1 && !name.empty() && users[name].size() == 1) names_[recorder] = name;
    }
  }

  std::string of(int recorder) const {
    const auto found = names_.find(recorder);
    return found == names_.end() ? "" : found->second;
  }

 private:
  std::map<int, std::string> names_;
};

/// What session.toml puts on one recorder and sound does not.
std::vector<Finding> recorder_findings(const Survey& survey, const AlignInput& input,
                                       const std::vector<sync::TrackPlacing>& placings,
                                       const RecorderNames& names) {
  std::map<std::string, std::map<int, std::string>> said;  // tracks by recorder and clock
  for (std::size_t i = 0; i < placings.size(); ++i) {
    const SurveyTrack& track = survey.tracks[input.survey_tracks[i]];
    if (placings[i].recorder < 0 || track.recorder.empty()) continue;
    std::string& tracks = said[track.recorder][placings[i].recorder];
    tracks += (tracks.empty() ? "" : ", ") + track.name;
  }
  std::vector<Finding> findings;
  for (const auto& [recorder, clocks] : said) {
    if (clocks.size() < 2) continue;
    Finding& finding = findings.emplace_back();
    finding.code = "two-clocks";
    finding.text = "session.toml puts these tracks on one recorder, \"" + recorder +
                   "\", but they do not start and run together:";
    const char* between = " ";
    for (const auto& [clock, tracks] : clocks) {
      finding.text += between + ("clock " + names.of(clock)) + " (" + tracks + ')';
      between = ", ";
    }
    finding.text +=
        ". The clocks that the sound tells are used. Mend session.toml; if it is right, listen to "
        "these tracks at their ends.";
  }
  return findings;
}

Finding unmatched(bool without_mix) {
  Finding finding;
  finding.code = "unmatched";
  finding.text =
      without_mix
          ? "Nothing of it is heard in another track, nor of another in it. Only a mix can tell "
            "where it belongs: name one with --mix FILE, or place it by hand."
          : "No place in the mix fits its sound. Check that it belongs to this session, and that "
            "somebody speaks in it.";
  return finding;
}

Finding inverted() {
  Finding finding;
  finding.code = "inverted";
  finding.text =
      "Its polarity is opposite to the mix's; its stem is turned the right way up. Turn the "
      "original yourself where you cut with it.";
  return finding;
}

LineupTrack plain_track(const Survey& survey, const SurveyTrack& track, double mix_rate_hz) {
  const SurveyFile& file = survey.files[track.file];
  LineupTrack result;
  result.name = track.name;
  for (const survey::SurveyPart& part : file.parts)
    result.parts.push_back({part.name, track.channel, part.length.n});
  // A file that cannot be read has no rate that we know; the mix's is as good as any.
  result.rate_hz = file.failure ? mix_rate_hz : file.info.rate.hz;
  result.role = track.role.value_or(Role::room);
  result.findings = track.findings;
  return result;
}

void apply(const sync::TrackPlacing& placing, const SurveyTrack& track, const RecorderNames& names,
           bool without_mix, LineupTrack& result) {
  const Role heard = holds(placing.findings, "mix-copy") ? Role::mix
                     : placing.remote                    ? Role::remote
                                                         : Role::room;
  result.role = track.role.value_or(heard);
  result.recorder = names.of(placing.recorder);
  result.standing = placing.standing;
  result.inverted = placing.standing != Standing::unplaced && placing.inverted;
  result.map = placing.map;
  result.uncertainty_us = placing.uncertainty_us;
  result.windows_measured = placing.windows_measured;
  result.windows_used = placing.windows_used;
  // A stretch of zeros that the alignment found to be a seam is told once.
  std::erase_if(result.findings, [&](const Finding& known) {
    constexpr double kSamePlace_s = 1.0;
    return known.code == "dropout" && known.at_s &&
           std::any_of(placing.findings.begin(), placing.findings.end(), [&](const Finding& seam) {
             return seam.code == "seam" && seam.at_s &&
                    std::abs(*seam.at_s - *known.at_s) < kSamePlace_s;
           });
  });
  result.findings.insert(result.findings.end(), placing.findings.begin(), placing.findings.end());
  if (placing.standing == Standing::unplaced && placing.findings.empty())
    result.findings.push_back(unmatched(without_mix));
  if (result.inverted && result.role != Role::mix) result.findings.push_back(inverted());
}

/// The mix's own samples need no estimate. Another copy of it has no place that we know; whether a
/// name alone speaks the truth a person must tell, so that track keeps the role of a person's.
void place_as_mix(MixCopy copy, double length_s, LineupTrack& result) {
  if (copy != MixCopy::mix_word) result.role = Role::mix;
  if (copy != MixCopy::same_samples) return;
  if (auto map = TimeMap::line(0.0, 0.0, length_s, 0.0)) {
    result.map = *std::move(map);
    result.standing = Standing::firm;
  }
}

void place_as_copy(const LineupTrack& original, LineupTrack& result) {
  result.role = original.role;
  result.recorder = original.recorder;
  result.standing = original.standing;
  result.inverted = original.inverted;
  if (result.inverted) result.findings.push_back(inverted());
  result.map = original.map;
  result.uncertainty_us = original.uncertainty_us;
}

/// Whether nothing can be heard by which a track finds its place.
bool is_mute(const LineupTrack& track) {
  return track.standing == Standing::unplaced && !track.is_used() && track.role != Role::mix &&
         (holds(track.findings, "silent") || holds(track.findings, "dead"));
}

/// Placed by another track rather than by its own sound.
bool is_guessed(const LineupTrack& track) { return holds(track.findings, "sibling-placed"); }

/// Whether two tracks of a recorder have the same line, to what a listener may never hear.
bool lie_together(const LineupTrack& a, const LineupTrack& b) {
  constexpr double kTogether_s = 0.5e-3;
  const auto distance_s = [&](double track_s) {
    const auto one = a.map->to_line(track_s);
    const auto other = b.map->to_line(track_s);
    return one && other ? std::abs(*one - *other) : 0.0;
  };
  return a.recorder == b.recorder && std::abs(a.map->start_s() - b.map->start_s()) < kTogether_s &&
         distance_s(a.map->spans().back().to_s - 1e-3) < kTogether_s;
}

/// Why a mute track is taken to lie with another, from the surest on.
enum class Kinship { same_file, told_recorder, same_length, none };

Kinship kinship(const Survey& survey, std::size_t a, std::size_t b) {
  const SurveyTrack& one = survey.tracks[a];
  const SurveyTrack& other = survey.tracks[b];
  const SurveyFile& file = survey.files[one.file];
  const SurveyFile& other_file = survey.files[other.file];
  if (one.file == other.file) return Kinship::same_file;
  if (file.failure || other_file.failure || file.info.rate.hz != other_file.info.rate.hz)
    return Kinship::none;
  if (!one.recorder.empty() && !other.recorder.empty())
    return one.recorder == other.recorder ? Kinship::told_recorder : Kinship::none;
  return file.length.n == other_file.length.n ? Kinship::same_length : Kinship::none;
}

const char* because(Kinship kinship) {
  switch (kinship) {
    case Kinship::same_file:
      return "another channel of the same file";
    case Kinship::told_recorder:
      return "on the same recorder, as session.toml says";
    default:
      return "whose file is as long to the frame";
  }
}

/// The placed track by which a mute one is placed: of the surest kin, and only where all of those
/// lie on one recorder and one line.
struct Sibling {
  std::size_t track{0};
  Kinship kinship{Kinship::none};
};

std::optional<Sibling> sibling_of(const Survey& survey, const std::vector<LineupTrack>& tracks,
                                  std::size_t mute) {
  std::optional<Sibling> best;
  bool agree = true;
  for (std::size_t i = 0; i < tracks.size(); ++i) {
    const LineupTrack& track = tracks[i];
    const Kinship kin = i == mute ? Kinship::none : kinship(survey, mute, i);
    if (kin == Kinship::none || !track.map || track.recorder.empty() || is_guessed(track)) continue;
    if (!best || kin < best->kinship) {
      best = Sibling{i, kin};
      agree = true;
    } else if (kin == best->kinship) {
      agree = agree && lie_together(track, tracks[best->track]);
      if (track.standing == Standing::firm && tracks[best->track].standing != Standing::firm)
        best->track = i;
    }
  }
  return agree ? best : std::nullopt;
}

void place_by_sibling(const LineupTrack& sibling, Kinship kin, LineupTrack& result) {
  const bool sure = kin != Kinship::same_length && sibling.standing == Standing::firm;
  result.recorder = sibling.recorder;
  result.map = sibling.map;
  result.uncertainty_us = sibling.uncertainty_us;
  result.standing = sure ? Standing::firm : Standing::shaky;
  std::erase_if(result.findings, [](const Finding& each) { return each.code == "unmatched"; });
  Finding& finding = result.findings.emplace_back();
  finding.code = "sibling-placed";
  finding.text = "Nothing in it tells its place; it is put where \"" + sibling.name + "\" lies, " +
                 because(kin) + ". " +
                 (sure ? "Leave it out unless somebody should be heard on it."
                       : "Check that both come from one recorder, and name it in session.toml; or "
                         "leave this track out.");
}

/// Whether two tracks hold different times, so that one person may have recorded both.
bool follow_each_other(const LineupTrack& a, const LineupTrack& b) {
  constexpr double kOverlap_s = 0.25;
  const auto from_s = [](const LineupTrack& track) {
    return track.map->spans().front().line_from_s;
  };
  const auto to_s = [](const LineupTrack& track) { return track.map->spans().back().line_to_s; };
  return from_s(b) > to_s(a) - kOverlap_s || from_s(a) > to_s(b) - kOverlap_s;
}

/// Takes of one voice: named alike but for what marks a take, and at different times.
void name_voices(std::vector<LineupTrack>& tracks) {
  std::map<std::string, std::vector<LineupTrack*>> takes;
  for (LineupTrack& track : tracks) {
    if (!track.is_used()) continue;
    auto& others = takes[session::lower(session::voice_of_take(track.name))];
    const bool is_apart = std::all_of(others.begin(), others.end(), [&](const LineupTrack* other) {
      return follow_each_other(*other, track);
    });
    if (is_apart) others.push_back(&track);
  }
  for (const auto& [name, voice] : takes)
    if (voice.size() > 1)
      for (LineupTrack* track : voice) track->voice = session::voice_of_take(voice.front()->name);
}

LineupMix lineup_mix(const Survey& survey, const sync::Alignment& alignment) {
  const SurveyFile& file = survey.files[survey.mix->file];
  LineupMix mix;
  mix.file = file.name;
  mix.rate_hz = file.info.rate.hz;
  mix.frames = file.length.n;
  mix.spans = alignment.mix_spans;
  mix.findings = survey.mix->findings;
  mix.findings.insert(mix.findings.end(), alignment.mix_findings.begin(),
                      alignment.mix_findings.end());
  return mix;
}

void add_tracks(const Survey& survey, const AlignInput& input,
                const std::vector<sync::TrackPlacing>& placings, Lineup& lineup) {
  std::vector<const sync::TrackPlacing*> placing_of(survey.tracks.size(), nullptr);
  for (std::size_t i = 0; i < placings.size(); ++i)
    placing_of[input.survey_tracks[i]] = &placings[i];
  const RecorderNames names(survey, input, placings);
  for (Finding& finding : recorder_findings(survey, input, placings, names))
    lineup.findings.push_back(std::move(finding));
  std::vector<LineupTrack> tracks;  // of all, so that copies find their originals
  for (std::size_t i = 0; i < survey.tracks.size(); ++i) {
    const SurveyTrack& track = survey.tracks[i];
    LineupTrack& result = tracks.emplace_back(plain_track(survey, track, lineup.timeline_rate_hz));
    if (placing_of[i] != nullptr)
      apply(*placing_of[i], track, names, !lineup.mix, result);
    else if (track.mix_copy != MixCopy::no)
      place_as_mix(track.mix_copy, survey.files[track.file].length_s(), result);
    else if (track.copy_of)
      place_as_copy(tracks[*track.copy_of], result);
  }
  for (std::size_t i = 0; i < tracks.size(); ++i) {
    if (!is_mute(tracks[i]) || survey.tracks[i].copy_of) continue;
    if (const auto sibling = sibling_of(survey, tracks, i))
      place_by_sibling(tracks[sibling->track], sibling->kinship, tracks[i]);
  }
  for (std::size_t i = 0; i < tracks.size(); ++i)
    follow_told_start(survey.tracks[i], survey.files[survey.tracks[i].file].length_s(), tracks[i]);
  compare_stamps(survey, tracks);
  name_voices(tracks);
  for (std::size_t i = 0; i < tracks.size(); ++i)
    if (survey.tracks[i].role != Role::ignore) lineup.tracks.push_back(std::move(tracks[i]));
}

Finding placed_without_mix(const std::string& clock, double uncertainty_us) {
  Finding finding;
  finding.code = "thin-evidence";
  finding.text = "Placed against \"" + clock + "\" by what microphones share, good to " +
                 short_time_text(1e-6 * uncertainty_us) +
                 ": without a mix nothing tells how far the sound travelled. Listen to the two "
                 "together, or name a mix with --mix FILE.";
  return finding;
}

/// The channels of a file start and run together, whatever ways the sound took to each.
std::vector<sync::TrackPlacing> with_files_together(const Survey& survey, const AlignInput& input,
                                                    std::vector<sync::TrackPlacing> placings) {
  const auto file_of = [&](std::size_t i) { return survey.tracks[input.survey_tracks[i]].file; };
  std::map<std::size_t, std::size_t> best;  // placed track by file
  for (std::size_t i = 0; i < placings.size(); ++i) {
    if (!placings[i].map) continue;
    const auto [found, is_new] = best.emplace(file_of(i), i);
    if (!is_new && placings[i].uncertainty_us < placings[found->second].uncertainty_us)
      found->second = i;
  }
  for (std::size_t i = 0; i < placings.size(); ++i) {
    const auto found = best.find(file_of(i));
    if (found == best.end() || found->second == i) continue;
    const sync::TrackPlacing& known = placings[found->second];
    placings[i].map = known.map;
    placings[i].standing = known.standing;
    placings[i].uncertainty_us = known.uncertainty_us;
  }
  return placings;
}

/// From the first of all tracks to the last.
void span_tracks(Lineup& lineup) {
  bool any = false;
  for (const LineupTrack& track : lineup.tracks) {
    if (!track.is_used()) continue;
    const double from_s = track.map->spans().front().line_from_s;
    const double to_s = track.map->spans().back().line_to_s;
    lineup.from_s = any ? std::min(lineup.from_s, from_s) : from_s;
    lineup.to_s = any ? std::max(lineup.to_s, to_s) : to_s;
    any = true;
  }
}

Error no_track_beside(const std::string& mix) {
  return no_input("no track that sounds lies beside the mix \"" + mix + '"',
                  "put the recordings of the people into the session");
}

std::optional<double> wrong_rate_hz(const LineupTrack& track) {
  for (const Finding& finding : track.findings)
    if (finding.code == "wrong-rate") return finding.rate_hz;
  return std::nullopt;
}

std::string hertz(double rate_hz) { return fmt::format("{:.10g} Hz", rate_hz); }

/// What the placed tracks of persons say together of their rates.
struct CommonRate {
  double ratio{1.0};  // rate at which each seems to be recorded, to what it states
  std::size_t tracks{0};
  std::size_t recorders{0};
};

std::optional<CommonRate> common_wrong_rate(const Lineup& lineup) {
  constexpr double kAlike = 1e-6;
  CommonRate common;
  std::set<std::string> recorders;
  for (const LineupTrack& track : lineup.tracks) {
    if (!track.map || !report::is_a_persons(track)) continue;
    const auto rate_hz = wrong_rate_hz(track);
    if (!rate_hz) return std::nullopt;
    if (common.tracks++ == 0) common.ratio = *rate_hz / track.rate_hz;
    if (std::abs(*rate_hz / track.rate_hz - common.ratio) > kAlike) return std::nullopt;
    recorders.insert(track.recorder);
  }
  common.recorders = recorders.size();
  return common.tracks > 0 ? std::optional(common) : std::nullopt;
}

/// Recorders that know nothing of each other do not all state a wrong rate, and the same: it is the
/// mix that does. Of a single one nothing tells whether it is that or the mix.
void doubt_the_mixs_rate(Lineup& lineup) {
  const auto common = common_wrong_rate(lineup);
  if (!common) return;
  const bool surely = common->recorders > 1;
  Finding finding;
  finding.code = "wrong-rate";
  finding.rate_hz = std::round(1e6 * lineup.mix->rate_hz / common->ratio) / 1e6;  // whole if it is
  const char* const pace = *finding.rate_hz > lineup.mix->rate_hz ? "slow" : "fast";
  const std::string stated = hertz(lineup.mix->rate_hz);
  const std::string made = hertz(*finding.rate_hz);
  finding.text =
      surely
          ? fmt::format(
                "The mix states {}, but by all tracks that fit it was made at {}: it plays too {}, "
                "and so do the stems, which follow it. Mend its header, and start again.",
                stated, made, pace)
          : fmt::format(
                "Nothing tells whose header is wrong: the recorder's, as its tracks say, "
                "or the mix's, which states {} and would then be made at {}. Listen to "
                "the mix: if it plays too {}, mend its header, and start again.",
                stated, made, pace);
  for (LineupTrack& track : lineup.tracks)
    for (Finding& each : track.findings)
      if (surely && each.code == "wrong-rate")
        each.text = "Against the mix it runs as if it were recorded at " + hertz(*each.rate_hz) +
                    ": it is the mix whose header is wrong. Leave this one's as it is.";
  if (surely) rest_on_the_mixs_rate(lineup);
  lineup.findings.push_back(finding);
}

}  // namespace

bool holds(const std::vector<Finding>& findings, std::string_view code) {
  return std::any_of(findings.begin(), findings.end(),
                     [&](const Finding& finding) { return finding.code == code; });
}

void add_measured_tracks(const Survey& survey, AlignInput& input) {
  for (std::size_t i = 0; i < survey.tracks.size(); ++i) {
    const SurveyTrack& track = survey.tracks[i];
    if (!is_measured(track)) continue;
    const SurveyFile& file = survey.files[track.file];
    input.tracks.push_back(
        {track.name, track.signal.get(), file.length_s(), file.info.lossy, file.info.rate.hz});
    input.survey_tracks.push_back(i);
  }
}

std::string letters(int number) {
  std::string text;
  for (int rest = number + 1; rest > 0; rest = (rest - 1) / 26)
    text.insert(text.begin(), static_cast<char>('A' + (rest - 1) % 26));
  return text;
}

bool has_no_mix(const Survey& survey) {
  return !survey.mix && !holds(survey.findings, "several-mixes");
}

Result<AlignInput> align_input(const Survey& survey) {
  AlignInput input;
  if (survey.mix) {
    const SurveyFile& mix = survey.files[survey.mix->file];
    if (mix.failure)
      return no_input("the mix \"" + mix.name + "\" cannot be read: " + mix.failure->what,
                      (mix.failure->next_step.empty() ? "" : mix.failure->next_step + ", or ") +
                          "name another with --mix FILE");
    if (!survey.mix->signal)
      return no_input("the mix \"" + mix.name + "\" holds nothing but silence",
                      "name another with --mix FILE");
    input.mix = {survey.mix->signal.get(), mix.length_s(), mix.info.lossy};
  } else if (!has_no_mix(survey)) {
    return mix_missing(survey);
  }
  add_measured_tracks(survey, input);
  if (survey.mix && input.tracks.empty())
    return no_track_beside(survey.files[survey.mix->file].name);
  if (!survey.mix && input.tracks.size() < 2) return mix_missing(survey);
  return input;
}

Lineup build_lineup(const Survey& survey, const AlignInput& input,
                    const sync::Alignment& alignment) {
  Lineup lineup;
  // As it will be read again: names of files are made of it.
  lineup.session = as_utf8(survey.session);
  lineup.mix = lineup_mix(survey, alignment);
  lineup.timeline_rate_hz = lineup.mix->rate_hz;
  lineup.from_s = lineup.mix->spans.front().line_from_s;
  lineup.to_s = lineup.mix->spans.back().line_to_s;
  lineup.findings = survey.findings;
  lineup.findings.insert(lineup.findings.end(), alignment.findings.begin(),
                         alignment.findings.end());
  add_tracks(survey, input, alignment.tracks, lineup);
  doubt_the_mixs_rate(lineup);
  return lineup;
}

Result<Lineup> build_lineup(const Survey& survey, const AlignInput& input,
                            const sync::NoMixPlacing& placing) {
  if (placing.clock < 0) {
    Error error = mix_missing(survey);
    error.what += ", and no two tracks hear each other";
    return error;
  }
  const auto clock = static_cast<std::size_t>(placing.clock);
  Lineup lineup;
  lineup.session = as_utf8(survey.session);
  lineup.timeline_clock = input.tracks[clock].name;
  lineup.timeline_rate_hz = input.tracks[clock].rate_hz;
  for (const Finding& finding : survey.findings) {
    lineup.findings.push_back(finding);
    if (finding.code == "no-mix")
      lineup.findings.back().text =
          "No file is known as the mix, by its name or by its sound: the tracks are placed against "
          "each other, on the clock of \"" +
          lineup.timeline_clock + "\". Name the mix with --mix FILE where there is one.";
  }
  auto placings = with_files_together(survey, input, placing.tracks);
  for (sync::TrackPlacing& each : placings)
    if (each.standing == Standing::shaky)
      each.findings.push_back(placed_without_mix(lineup.timeline_clock, each.uncertainty_us));
  add_tracks(survey, input, placings, lineup);
  span_tracks(lineup);
  return lineup;
}

bool needs_person(const Lineup& lineup) {
  return survey::session_needs_person(lineup.findings) ||
         (lineup.mix && survey::track_needs_person(lineup.mix->findings)) ||
         std::any_of(lineup.tracks.begin(), lineup.tracks.end(), [](const LineupTrack& track) {
           if (!report::is_a_persons(track)) return false;
           return track.standing != Standing::firm || survey::track_needs_person(track.findings);
         });
}

}  // namespace kilter::commands
