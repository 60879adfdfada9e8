#include <fmt/format.h>

#include <cmath>
#include <filesystem>
#include <optional>

#include "commands.h"
#include "heard.h"
#include "kilter/base/clock_text.h"
#include "kilter/edits/lineup_file.h"
#include "kilter/intake/intake.h"
#include "kilter/report/lineup_report.h"
#include "kilter/report/text_table.h"
#include "kilter/session/split_takes.h"
#include "kilter/sync/align.h"
#include "lineup_builder.h"
#include "missing_ends.h"
#include "mix_choice.h"
#include "mix_holes.h"
#include "outputs.h"
#include "wrong_mix.h"

namespace kilter::commands {

namespace {

Result<Aligned> align_once(const session::Session& session, const Options& options,
                           Console& console) {
  const auto survey = load(session, options, true, console);
  if (!survey) return survey.error();
  const auto input = align_input(*survey);
  if (!input) return input.error();
  sync::AlignOptions align;
  align.threads = options.threads;
  align.open_store = intake::scratch_stores();
  align.stop = &console.stop();
  align.progress = [&](double done, const char* stage) { console.progress(stage, done); };
  if (has_no_mix(*survey)) {
    const auto placing = sync::place_without_mix(input->tracks, align);
    if (!placing) return placing.error();
    auto lineup = build_lineup(*survey, *input, *placing);
    if (!lineup) return lineup.error();
    report::Heard heard = heard_of(*survey, *input, placing->tracks, *lineup);
    return Aligned{*std::move(lineup), std::move(heard)};
  }
  const auto alignment = sync::align(input->mix, input->tracks, align);
  if (!alignment) return alignment.error();
  auto doubt = doubt_of_named_mix(*survey, *input, *alignment, align);
  if (!doubt) return doubt.error();
  Lineup lineup = build_lineup(*survey, *input, *alignment);
  if (auto judged = judge_mix_holes(*survey, lineup); !judged) return judged.error();
  if (*doubt) {
    rest_on_the_choice_of_mix(lineup);
    lineup.findings.push_back(**doubt);
  }
  report::Heard heard = heard_of(*survey, *input, alignment->tracks, lineup);
  heard.null = null_depth(*alignment);
  return Aligned{std::move(lineup), std::move(heard)};
}

/// How far behind the end of one recording another begins, by the channels that both have placed:
/// the furthest. Nothing where none is.
std::optional<double> gap_s(const Lineup& lineup, const session::NumberedPair& pair) {
  std::optional<double> furthest_s;
  for (const LineupTrack& one : lineup.tracks)
    for (const LineupTrack& other : lineup.tracks) {
      if (!one.is_used() || !other.is_used() || one.parts.back().file != pair.first ||
          other.parts.front().file != pair.second ||
          one.parts.back().channel != other.parts.front().channel)
        continue;
      const double here_s =
          other.map->spans().front().line_from_s - one.map->spans().back().line_to_s;
      if (!furthest_s || std::abs(here_s) > std::abs(*furthest_s)) furthest_s = here_s;
    }
  return furthest_s;
}

/// Tells of files that a recorder numbered and that are not here, where sound is missing for them.
void tell_missing_parts(const session::Session& session, Lineup& lineup) {
  constexpr double kMissing_s = 1.0;
  for (const session::SessionFile& one : session.files) {
    const std::string& last = one.later_parts.empty() ? one.name : one.later_parts.back().name;
    const session::SessionFile* next = nullptr;  // the nearest that counts on
    long missing = 0;
    for (const session::SessionFile& other : session.files) {
      const auto between = session::files_between(last, other.name);
      if (!between || (next != nullptr && *between >= missing)) continue;
      next = &other;
      missing = *between;
    }
    if (missing == 0) continue;
    const auto gap = gap_s(lineup, {last, next->name});
    if (!gap || *gap < kMissing_s) continue;
    Finding& finding = lineup.findings.emplace_back();
    finding.code = "missing-part";
    finding.text = fmt::format(
        "Between \"{}\" and \"{}\" {} are not recorded, and their numbers leave out {}. Look for "
        "{} "
        "on the recorder's card.",
        last, next->name, clock_text(*gap), missing == 1 ? "a file" : "files",
        missing == 1 ? "it" : "them");
  }
}

}  // namespace

Result<Aligned> align_session(const session::Session& session, const Options& options,
                              Console& console) {
  if (session.files.size() < 2)
    return Error{ErrorKind::no_input, session.files.front().name,
                 "is the only audio file of the session",
                 "put the mixdown and the recordings of the people together"};
  auto aligned = align_once(session, options, console);
  if (!aligned) return aligned;
  // A joint in a pause tells nothing, but what lies end to end on the timeline is one take.
  constexpr double kEndToEnd_s = 5e-3;
  session::Session joined = session;
  for (const session::NumberedPair& pair : session.not_joined)
    if (const auto here_s = gap_s(aligned->lineup, pair); here_s && std::abs(*here_s) < kEndToEnd_s)
      session::join(pair, joined);
  if (joined.files.size() != session.files.size()) aligned = align_once(joined, options, console);
  if (!aligned) return aligned;
  tell_missing_parts(joined, aligned->lineup);
  tell_missing_ends(aligned->lineup);
  return aligned;
}

Result<Exit> align_command(const Options& options, Console& console) {
  const auto session = open(options);
  if (!session) return session.error();
  const auto file = options.lineup.value_or(default_lineup_file(*session));
  if (auto refused = output_refusal(file, *session)) return *std::move(refused);
  if (std::error_code ignored; std::filesystem::exists(file, ignored) && !edits::read_lineup(file))
    return Error{ErrorKind::bad_command, file, "is there already and is no lineup",
                 "name another file with --lineup, or move that one away"};
  const auto aligned = align_session(*session, options, console);
  if (!aligned) return aligned.error();
  const Lineup& lineup = aligned->lineup;
  if (auto written = edits::write_lineup(lineup, file); !written) return written.error();
  const auto printed =
      console.print(options.json ? edits::to_text(lineup)
                                 : report::lineup_text(lineup, console.columns()) + "\nLineup  " +
                                       report::printable(file.string()) + '\n');
  if (!printed) return printed.error();
  return needs_person(lineup) ? Exit::needs_person : Exit::done;
}

}  // namespace kilter::commands
