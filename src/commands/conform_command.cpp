#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <array>
#include <ctime>
#include <set>
#include <string>
#include <vector>

#include "clip_places.h"
#include "commands.h"
#include "heard.h"
#include "kilter/base/clock_text.h"
#include "kilter/base/text_hash.h"
#include "kilter/conform/conform.h"
#include "kilter/conform/staged_folder.h"
#include "kilter/conform/timeline_clock.h"
#include "kilter/edits/cuts.h"
#include "kilter/edits/edit_files.h"
#include "kilter/edits/lineup_file.h"
#include "kilter/edits/text_file.h"
#include "kilter/report/lineup_report.h"
#include "kilter/report/report_page.h"
#include "kilter/report/text_table.h"
#include "outputs.h"
#include "source_facts.h"

namespace kilter::commands {
namespace {

constexpr double kUnknown_s = 9.5;  // a bound as wide tells of a place that may be any

conform::ConformOptions conform_options(const Options& options, Console& console) {
  conform::ConformOptions result;
  result.range = options.range;
  result.rate_hz = options.rate_hz;
  result.format = options.bits;
  result.container = options.container;
  result.frame_rate = options.frame_rate;
  result.start_frame = options.start_frame;
  result.program = "kilter " KILTER_VERSION;
  result.threads = options.threads;
  result.stop = &console.stop();
  result.progress = [&](double done) { console.progress("writing stems", done); };
  return result;
}

/// Now, as files say it.
std::string date_text() {
  const std::time_t now = std::time(nullptr);
  std::tm utc{};
  ::gmtime_r(&now, &utc);
  std::array<char, 32> text{};
  std::strftime(text.data(), text.size(), "%Y-%m-%dT%H:%M:%SZ", &utc);
  return text.data();
}

/// As it will be once `out` is in place.
std::string absolute_text(const std::filesystem::path& out) {
  std::error_code problem;
  return std::filesystem::weakly_canonical(std::filesystem::absolute(out, problem), problem)
      .generic_string();
}

edits::EditFilesPlan edit_files_plan(const Lineup& lineup, const conform::ConformReport& report,
                                     const Options& options,
                                     const std::filesystem::path& session_folder) {
  edits::EditFilesPlan plan;
  plan.name = conform::safe_file_names({lineup.session}).front();
  std::vector<std::string> names;
  for (const LineupTrack& track : lineup.tracks)
    if (track.is_used()) names.push_back(track.name);
  plan.track_names = conform::safe_file_names(names);
  plan.record = {options.frame_rate, options.start_frame, report.from_s};
  plan.stems.rate_hz = report.rate_hz;
  plan.stems.frames = report.frames;
  std::set<std::filesystem::path> listed;  // takes of one voice share a stem
  for (const conform::Stem& stem : report.stems)
    if (!stem.file.empty() && listed.insert(stem.file).second)
      plan.stems.stems.push_back({stem.track, stem.file.generic_string()});
  plan.session_folder = session_folder.generic_string();
  plan.stems_folder = absolute_text(options.out / "stems");
  plan.created = date_text();
  plan.facts_of = source_facts(lineup, session_folder);
  return plan;
}

/// Of each stem once: takes of one voice share theirs.
std::vector<StemMark> marks_of(const conform::ConformReport& report) {
  std::vector<StemMark> marks;
  const auto add = [&](const conform::Stem& stem) {
    const std::string file = stem.file.generic_string();
    const bool known = std::any_of(marks.begin(), marks.end(),
                                   [&](const StemMark& mark) { return mark.file == file; });
    if (!file.empty() && !known) marks.push_back({file, stem.digest});
  };
  for (const conform::Stem& stem : report.stems) add(stem);
  if (report.mix) add(*report.mix);
  return marks;
}

/// The edit lists and the lineup, beside the stems.
Result<report::WrittenLists> write_lists(const Lineup& lineup, const conform::ConformReport& report,
                                         const edits::EditFilesPlan& plan,
                                         const std::filesystem::path& folder) {
  const auto files = edits::write_edit_files(lineup, plan, folder / "edits");
  if (!files) return files.error();
  const auto cuts = edits::read_text(folder / "edits/cuts.tsv");
  if (!cuts) return cuts.error();
  Lineup with_marks = lineup;
  with_marks.stems = marks_of(report);
  with_marks.cuts_hash = text_hash(*cuts);
  if (auto written = edits::write_lineup(with_marks, folder / "lineup.json"); !written)
    return written.error();
  return report::WrittenLists{*files, plan.record};
}

/// A lineup, and what was heard where it was not given.
struct ToConform {
  Lineup lineup;
  std::optional<report::Heard> heard;
};

Result<ToConform> given_or_aligned(const session::Session& session, const Options& options,
                                   Console& console) {
  if (options.lineup) {
    auto lineup = edits::read_lineup(*options.lineup);
    if (!lineup) return lineup.error();
    return ToConform{*std::move(lineup), std::nullopt};
  }
  auto aligned = align_session(session, options, console);
  if (!aligned) return aligned.error();
  return ToConform{std::move(aligned->lineup), std::move(aligned->heard)};
}

/// The lineup as it was found, or told, then as a person's table of cuts has it, and then on the
/// clock that was asked for.
Result<ToConform> lineup_to_conform(const session::Session& session,
                                    const std::optional<edits::CutTable>& cuts,
                                    const Options& options, Console& console) {
  auto found = given_or_aligned(session, options, console);
  if (!found) return found;
  if (cuts) {
    auto lineup = edits::overruled(found->lineup, *cuts);
    if (!lineup) return lineup.error();
    if (found->heard) measure_from(*lineup, found->lineup, *found->heard);
    found->lineup = *std::move(lineup);
  }
  if (!options.clock) return found;
  auto lineup = conform::on_clock_of(found->lineup, *options.clock);
  if (!lineup) return lineup.error();
  found->lineup = *std::move(lineup);
  return found;
}

report::ReportPage page_of(const ToConform& found, const conform::ConformReport& report,
                           const edits::RecordTime& record, const Options& options) {
  report::ReportPage page;
  page.lineup = &found.lineup;
  page.heard = found.heard ? &*found.heard : nullptr;
  page.stems = &report;
  page.sample_format = to_text(options.bits);
  page.record = record;
  page.limit_ms = options.limit_ms;
  page.version = "kilter " KILTER_VERSION;
  page.command = options.line;
  return page;
}

/// The listening clips below `folder`, into the report. Nothing where there is no mix to listen
/// against, which is told.
Result<void> add_clips(const ToConform& found, const std::filesystem::path& folder,
                       conform::ConformReport& report, Console& console) {
  if (!report.mix || report.mix->file.empty()) {
    console.warn("there are no listening clips: no stem of the mix stands beside the tracks'",
                 report.mix ? "see to the mix's file" : "name the mix with --mix FILE");
    return {};
  }
  conform::ClipOptions options;
  options.stop = &console.stop();
  options.progress = [&](double done) { console.progress("writing clips", done); };
  ClipPlaces places = clip_places(found.lineup, found.heard ? &*found.heard : nullptr, report);
  auto clips = conform::write_clips(found.lineup, report, folder / "stems", folder / "listen",
                                    places.places, options);
  if (!clips) return clips.error();
  report.clips = conform::ListeningClips{*std::move(clips), std::move(places.left_out)};
  return {};
}

/// Tells of placed tracks whose bound is wider than --limit-ms.
void report_beyond_limit(const Lineup& lineup, double limit_ms, Console& console) {
  std::vector<std::string> beyond;
  for (const LineupTrack& track : lineup.tracks) {
    if (!report::is_beyond(track, limit_ms)) continue;
    const double bound_s = 1e-6 * track.uncertainty_us;
    beyond.push_back(fmt::format("\"{}\" may be {} off", report::printable(track.name),
                                 bound_s < kUnknown_s ? short_time_text(bound_s) : "any time"));
  }
  if (beyond.empty()) return;
  console.warn(
      fmt::format("{}, which is beyond the limit of {:g} ms", fmt::join(beyond, ", "), limit_ms),
      beyond.size() == 1 ? "listen to it against the mix" : "listen to them against the mix");
}

/// Tells of tracks of which the stems hold nothing, for they lie before or behind.
void report_outside(const Lineup& lineup, const conform::ConformReport& report, Console& console) {
  for (const LineupTrack& track : lineup.tracks)
    if (report::lies_outside(track, report))
      console.warn(fmt::format("\"{}\" lies outside the stems' time, and its stem is silent",
                               report::printable(track.name)),
                   "check its place, or use --range all");
}

/// Tells of a clock that may not be what it seems: everything follows it.
void report_unsure_clock(const Lineup& lineup, Console& console) {
  for (const LineupTrack& track : lineup.tracks)
    if (track.name == lineup.timeline_clock && track.standing != Standing::firm)
      console.warn(fmt::format("the timeline runs on the clock of \"{}\", which is {}",
                               report::printable(track.name), to_text(track.standing)),
                   "choose the clock of a firm track, or the mix's");
}

/// A lineup of other files, say: the failure of one stands for all.
std::optional<Error> common_failure(const conform::ConformReport& report) {
  const auto& stems = report.stems;
  const bool any_written = std::any_of(
      stems.begin(), stems.end(), [](const conform::Stem& stem) { return !stem.file.empty(); });
  const auto failed = std::find_if(stems.begin(), stems.end(), [](const conform::Stem& stem) {
    return stem.failure.has_value();
  });
  if (any_written || failed == stems.end()) return std::nullopt;
  return failed->failure;
}

}  // namespace

Result<Exit> conform_command(const Options& options, Console& console) {
  const auto session = open(options);
  if (!session) return session.error();
  if (auto refused = output_refusal(options.out, *session)) return *std::move(refused);
  // Made before the work, so that a folder that cannot be written is told at once.
  conform::Replacing replacing{options.replace};
  if (options.cuts) replacing.cuts_taken_over = *options.cuts;
  auto staged = conform::StagedFolder::make(
      options.out, replacing,
      {[&](double done) { console.progress("reading the earlier stems", done); }, &console.stop()});
  if (!staged) return staged.error();
  std::optional<edits::CutTable> cuts;
  if (options.cuts) {
    auto table = edits::read_cuts(*options.cuts);
    if (!table) return table.error();
    cuts = *std::move(table);
  }
  const auto found = lineup_to_conform(*session, cuts, options, console);
  if (!found) return found.error();
  const Lineup& lineup = found->lineup;

  auto report = conform::conform(lineup, session->folder, staged->path() / "stems",
                                 conform_options(options, console));
  if (!report) return report.error();
  if (auto failure = common_failure(*report)) return *std::move(failure);
  if (options.clips)
    if (auto clips = add_clips(*found, staged->path(), *report, console); !clips)
      return clips.error();
  const auto lists = write_lists(
      lineup, *report, edit_files_plan(lineup, *report, options, session->folder), staged->path());
  if (!lists) return lists.error();
  const report::ReportPage page = page_of(*found, *report, lists->record, options);
  if (auto written = edits::write_text(staged->path() / "report.html", report::report_html(page));
      !written)
    return written.error();
  if (auto placed = staged->commit(); !placed) return placed.error();

  const auto printed =
      console.print(options.json ? report::conform_json(*report, lineup, *lists, options.out)
                                 : report::lineup_text(lineup, console.columns()) + '\n' +
                                       report::conform_text(*report, lineup, *lists, options.out,
                                                            to_text(options.bits)));
  if (!printed) return printed.error();
  report_beyond_limit(lineup, options.limit_ms, console);
  report_outside(lineup, *report, console);
  if (options.clock) report_unsure_clock(lineup, console);
  return report::needs_of(page).empty() ? Exit::done : Exit::needs_person;
}

}  // namespace kilter::commands
