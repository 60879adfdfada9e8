#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <optional>

#include "check_claims.h"
#include "check_folder.h"
#include "check_mend_first.h"
#include "check_phrases.h"
#include "check_verdicts.h"
#include "commands.h"
#include "kilter/base/clock_text.h"
#include "kilter/base/parallel.h"
#include "kilter/conform/conform.h"
#include "kilter/edits/lineup_file.h"
#include "kilter/edits/text_file.h"
#include "kilter/intake/intake.h"
#include "kilter/report/check_report.h"
#include "kilter/report/finding_words.h"
#include "kilter/sync/align.h"
#include "kilter/sync/phrases.h"
#include "kilter/sync/residuals.h"
#include "kilter/sync/strays.h"
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

constexpr double kShortSession_s = 1200.0;  // where every window may be looked into
constexpr double kUnheardReach_s = 6.0;

// ---- what there is to check

/// Stems as conform leaves them lie in a folder of their own.
fs::path folder_of_stems(const fs::path& dir) {
  std::error_code code;
  return fs::is_directory(dir / "stems", code) ? dir / "stems" : dir;
}

/// What the stems were conformed by. Their names and the mix's are all that is taken from it.
std::optional<conform::StemFiles> names_beside(const fs::path& dir) {
  std::error_code code;
  if (!fs::is_regular_file(dir / "lineup.json", code)) return std::nullopt;
  const auto lineup = edits::read_lineup(dir / "lineup.json");
  if (!lineup) return std::nullopt;
  return conform::stem_files(*lineup);
}

/// The mix that conform put beside the stems.
std::optional<fs::path> mix_beside(const std::optional<conform::StemFiles>& names,
                                   const fs::path& stems) {
  std::error_code code;
  if (!names || !names->mix || !fs::is_regular_file(stems / *names->mix, code)) return std::nullopt;
  return stems / *names->mix;
}

/// A person's stem is one whatever it is called, be it like the mix: only the others' names tell.
void declare_people(const conform::StemFiles& names, session::Session& session) {
  for (std::size_t i = 0; i < session.files.size(); ++i) {
    const fs::path name = session.files[i].path.stem();
    if (i == session.mix || std::none_of(names.tracks.begin(), names.tracks.end(),
                                         [&](const fs::path& file) { return file.stem() == name; }))
      continue;
    session::DeclaredTrack person;
    person.file = i;
    person.role = Role::room;
    session.declared.push_back(person);
  }
}

Result<session::Session> stems_session(const Options& options) {
  const std::vector<fs::path>& given = options.session;
  std::error_code code;
  if (given.size() != 1 || !fs::is_directory(given.front(), code))
    return session::open_session(given, options.mix);
  const fs::path& dir = given.front();
  const fs::path stems = folder_of_stems(dir);
  const auto names = names_beside(dir);
  const auto mix = options.mix ? options.mix : mix_beside(names, stems);
  auto session = session::open_session({stems}, mix);
  if (session && names) declare_people(*names, *session);
  if (session && stems != dir) {
    const std::string name = fs::weakly_canonical(dir, code).filename().string();
    if (!name.empty()) session->name = name;
  }
  return session;
}

/// What the survey knows of a track that is not measured.
void tell_why_not_measured(const Survey& survey, const SurveyTrack& track, CheckedStem& stem) {
  if (track.mix_copy == survey::MixCopy::mix_word) {
    stem.verdict = Verdict::no_evidence;
    stem.findings.push_back(check_finding(
        "called-mix",
        "Its name says that it is a mix, and another file was named as the mix: it was not "
        "measured. If it is somebody's stem, give it another name, or a role in session.toml; if "
        "not, take it out of the folder."));
    return;
  }
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
    stem.findings.push_back(check_finding("no-evidence", "The lineup gives it no place."));
  }
}

Error nothing_to_check(const Survey& survey, const Error& error) {
  if (std::none_of(survey.tracks.begin(), survey.tracks.end(), [](const SurveyTrack& track) {
        return track.mix_copy == survey::MixCopy::mix_word;
      }))
    return error;
  return {ErrorKind::no_input,
          {},
          "every file that sounds beside the mix is called a mix by its name",
          "give the stems other names, or roles in session.toml"};
}

Error no_mix_known(const Survey& survey) {
  std::string what = "the mix to check against is not known";
  for (const Finding& finding : survey.findings)
    if (finding.code == "several-mixes")
      what += ": " + finding.text.substr(0, finding.text.rfind(". "));
  return {ErrorKind::no_input, {}, what, "name it with --mix FILE"};
}

/// Behind its end nothing is measured.
void tell_what_the_mix_lacks(const Survey& survey, CheckReport& report) {
  for (const Finding& finding : survey.mix->findings)
    if (finding.code == "truncated")
      report.findings.push_back(
          check_finding("truncated", "The mix: " + finding.text + " Nothing is checked after that.",
                        finding.at_s));
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

/// What is measured of the claims, in their order.
struct Checked {
  std::vector<std::vector<sync::ResidualWindow>> windows;
  std::vector<sync::TrackPhrases> said;
  std::vector<sync::Residual> residuals;
  std::vector<std::vector<sync::Stray>> strays;  ///< of those that sound unheard for long
  std::optional<sync::Alignment> elsewhere;      ///< of all tracks, where any is not to be found
  std::vector<bool> in_room;  ///< whom neighbours hear, as far as that was looked into
  bool all_sound{true};       ///< nobody's track is silent or not to be found
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

/// The same, or whether any of its phrases does.
bool departs_at(const Checked& checked, std::size_t k, double limit_s) {
  return departs(checked.residuals[k], limit_s) ||
         !slips_of(checked.said[k].phrases, limit_s).empty();
}

/// Whether a person's track holds nothing to measure.
bool any_mute(const Survey& survey) {
  return std::any_of(survey.tracks.begin(), survey.tracks.end(), [](const SurveyTrack& track) {
    return !track.signal && !track.copy_of && track.mix_copy == survey::MixCopy::no &&
           track.role != Role::ignore && track.role != Role::mix;
  });
}

/// What sounds without the mix bearing it out there may be out of place by more than a window's
/// reach.
Result<void> look_for_unheard(const AlignInput& input, const std::vector<sync::MappedTrack>& tracks,
                              int threads, Console& console, Checked& checked) {
  checked.strays.resize(tracks.size());
  std::vector<std::optional<Error>> errors(tracks.size());
  parallel_for(static_cast<int>(tracks.size()), threads, [&](int i) {
    const auto k = static_cast<std::size_t>(i);
    if (checked.residuals[k].unheard_in_a_row < kUnheard) return;
    auto found =
        sync::find_strays(*input.mix.signal, tracks[k],
                          {.search_s = kUnheardReach_s, .far_s = 0.0, .stop = &console.stop()});
    if (found)
      checked.strays[k] = std::move(found->elsewhere);
    else
      errors[k] = found.error();
  });
  for (const auto& error : errors)
    if (error) return *error;
  return {};
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
  auto said = sync::measure_phrases(*input.mix.signal, input.mix.length_s, tracks,
                                    {.threads = options.threads, .stop = &console.stop()});
  if (!said) return said.error();
  checked.said = *std::move(said);
  for (std::size_t k = 0; k < tracks.size(); ++k) {
    checked.windows.push_back(with_phrases((*windows)[k], checked.said[k].phrases));
    checked.residuals.push_back(sync::judge_residuals(checked.windows[k]));
  }
  if (auto done = look_for_unheard(input, tracks, options.threads, console, checked); !done)
    return done.error();
  const double limit_s = 1e-3 * options.limit_ms;
  checked.in_room.assign(tracks.size(), false);
  // Of somebody whose own stem is silent a neighbour's may be what is heard, later by the way
  // through the room.
  checked.all_sound =
      !any_is_mute && std::all_of(checked.residuals.begin(), checked.residuals.end(),
                                  [](const auto& e) { return e.has_evidence(); });
  const auto look_further = [&](std::size_t k) {
    return is_lost(checked.residuals[k], input.mix.length_s) || departs_at(checked, k, limit_s);
  };
  bool any = false;
  for (std::size_t k = 0; k < tracks.size(); ++k) any = any || look_further(k);
  if (!any) return checked;

  std::vector<sync::TrackInput> all = input.tracks;
  // Stems are all as long, which elsewhere speaks for one recorder, and here for nothing.
  constexpr double kApart_s = 0.01;
  for (std::size_t k = 0; are_stems && k < all.size(); ++k)
    all[k].length_s = std::max(all[k].length_s - kApart_s * static_cast<double>(k), kApart_s);
  sync::AlignOptions align;
  align.threads = options.threads;
  align.open_store = intake::scratch_stores();
  align.stop = &console.stop();
  align.recorders = !are_stems;
  align.progress = [&](double done, const char*) { console.progress("looking further", done); };
  auto elsewhere = sync::align(input.mix, all, align);
  if (!elsewhere) return elsewhere.error();
  checked.elsewhere = *std::move(elsewhere);
  // Whom neighbours hear sat in the room: no network stream held him back.
  for (std::size_t k = 0; k < claimed.size(); ++k) {
    const auto at = std::find(input.survey_tracks.begin(), input.survey_tracks.end(), claimed[k]) -
                    input.survey_tracks.begin();
    const sync::TrackPlacing& placing = checked.elsewhere->tracks[static_cast<std::size_t>(at)];
    checked.in_room[k] = placing.standing != Standing::unplaced && !placing.remote;
    if (checked.in_room[k] && checked.all_sound && departs(checked.residuals[k], limit_s))
      checked.residuals[k] = sync::judge_residuals(checked.windows[k], 0.0);
  }
  return checked;
}

bool others_in_place(const Checked& checked, std::size_t k, double limit_s) {
  for (std::size_t j = 0; j < checked.said.size(); ++j)
    if (j != k && (!is_in_place(checked.said[j].phrases, limit_s) ||
                   std::abs(checked.residuals[j].worst_s) > limit_s))
      return false;
  return true;
}

/// A row for every track of the survey; a copy has its original's verdict. `whose`: what places in
/// a track are told in.
std::vector<CheckedStem> rows_of(const Survey& survey, const AlignInput& input,
                                 const std::vector<Claim>& claims, const Checked& checked,
                                 const std::optional<Lineup>& left, std::string_view whose,
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
    StemFacts facts = facts_of(left, survey, track);
    add_damage(track, has_a_hole(facts, input.mix.length_s), whose, stem);
    const auto k = static_cast<std::size_t>(claim - claims.begin());
    const sync::Residual& residual = checked.residuals[k];
    judge(residual, checked.said[k].phrases, *claim, limit_s, facts, stem);
    facts.in_room = checked.in_room[k];
    facts.others_sound = checked.all_sound && (!left || has_all_stems(*left, survey));
    facts.others_in_place = others_in_place(checked, k, limit_s);
    judge_phrases(checked.said[k], residual, limit_s, facts, stem);
    if (stem.verdict != Verdict::beyond) judge_strays(checked.strays[k], facts, stem);
    stem.minutes = by_minute(checked.windows[k], residual, input.mix.length_s);
    name_the_option(stem);
    if (!checked.elsewhere || !is_lost(residual, input.mix.length_s)) continue;
    const auto at = std::find(input.survey_tracks.begin(), input.survey_tracks.end(), original) -
                    input.survey_tracks.begin();
    find_elsewhere(*claim, checked.elsewhere->tracks[static_cast<std::size_t>(at)], limit_s, facts,
                   stem);
  }
  return rows;
}

}  // namespace

Result<Exit> check_command(const Options& options, Console& console) {
  const auto lineup = lineup_to_check(options);
  if (!lineup) return lineup.error();
  const auto session = session_to_check(options, *lineup);
  if (!session) return session.error();
  if (options.junit)
    if (auto refused = junit_refusal(*options.junit, *session)) return *std::move(refused);
  const auto survey = load(*session, options, true, console);
  if (!survey) return survey.error();
  if (!survey->mix) return no_mix_known(*survey);
  const auto input = align_input(*survey);
  if (!input) return nothing_to_check(*survey, input.error());

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
  tell_what_the_mix_lacks(*survey, report);
  std::optional<Lineup> left;
  if (!*lineup && options.session.size() == 1)
    left = lineup_left_in(options.session.front(), report);
  report.stems = rows_of(*survey, *input, claims, *checked, left,
                         *lineup ? report::kRecording : "stem", 1e-3 * options.limit_ms);
  if (left) {
    report.from_s = left->from_s;
    tell_what_is_not_whole(*left, folder_of_stems(options.session.front()), *survey, report);
    tell_what_is_swapped(*left, *survey, report);
  }
  if (!left && !*lineup) tell_what_ends_early(*survey, report);
  if (!tell_what_all_share(report)) tell_whom_to_mend_first(report.stems);
  const TimeMap mix_map = in_place(report.length_s);
  console.progress("the null", 0.0);
  const auto unexplained = sync::find_unexplained(
      {input->mix.signal, &mix_map}, tracks, {.threads = options.threads, .stop = &console.stop()});
  if (!unexplained) return unexplained.error();
  add_null(*unexplained, report.length_s, left ? not_recorded(*left) : std::vector<Stretch>{},
           report);
  if (left)
    if (auto told = tell_what_was_emptied(*left, *survey, *unexplained, report); !told)
      return told.error();

  if (options.junit)
    if (auto written = edits::write_text(*options.junit, report::check_junit(report)); !written)
      return written.error();
  const auto printed = console.print(options.json ? report::check_json(report)
                                                  : report::check_text(report, console.columns()));
  if (!printed) return printed.error();
  return report::passes(report) ? Exit::done : Exit::needs_person;
}

}  // namespace kilter::commands
