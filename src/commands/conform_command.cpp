#include <fmt/format.h>

#include <algorithm>

#include "commands.h"
#include "kilter/conform/conform.h"
#include "kilter/conform/staged_folder.h"
#include "kilter/edits/cuts.h"
#include "kilter/edits/lineup_file.h"
#include "kilter/report/lineup_report.h"
#include "lineup_builder.h"
#include "outputs.h"

namespace kilter::commands {
namespace {

conform::ConformOptions conform_options(const Options& options, Console& console) {
  conform::ConformOptions result;
  result.range = options.range;
  result.rate_hz = options.rate_hz;
  result.format = options.bits;
  result.threads = options.threads;
  result.stop = &console.stop();
  result.progress = [&](double done) { console.progress("writing stems", done); };
  return result;
}

/// The edit lists and the lineup, beside the stems.
Result<void> write_lists(const Lineup& lineup, const std::filesystem::path& folder) {
  const std::filesystem::path edits = folder / "edits";
  std::error_code problem;
  std::filesystem::create_directories(edits, problem);
  if (problem)
    return Error{ErrorKind::cannot_write, edits, "cannot be made (" + problem.message() + ")",
                 "check your rights and the room on the disk"};
  if (auto written = edits::write_cuts(lineup, edits / "cuts.tsv"); !written) return written;
  return edits::write_lineup(lineup, folder / "lineup.json");
}

/// Tells of placed tracks whose bound is wider than --limit-ms.
bool report_beyond_limit(const Lineup& lineup, double limit_ms, Console& console) {
  bool any = false;
  for (const LineupTrack& track : lineup.tracks) {
    if (!track.map || !report::is_a_persons(track)) continue;
    if (track.uncertainty_us <= 1000.0 * limit_ms) continue;
    console.warn(fmt::format("\"{}\" may be {:.3g} ms off, which is beyond the limit of {:g} ms",
                             track.name, track.uncertainty_us / 1000.0, limit_ms),
                 "listen to it against the mix");
    any = true;
  }
  return any;
}

bool has_failed(const conform::Stem& stem) { return stem.failure.has_value(); }

/// A lineup of other files, say: the failure of one stands for all.
std::optional<Error> common_failure(const conform::ConformReport& report) {
  const auto& stems = report.stems;
  const bool any_written = std::any_of(
      stems.begin(), stems.end(), [](const conform::Stem& stem) { return !stem.file.empty(); });
  const auto failed = std::find_if(stems.begin(), stems.end(), has_failed);
  if (any_written || failed == stems.end()) return std::nullopt;
  return failed->failure;
}

}  // namespace

Result<Exit> conform_command(const Options& options, Console& console) {
  const auto session = open(options, console);
  if (!session) return session.error();
  if (auto refused = output_refusal(options.out, *session)) return *std::move(refused);
  // Made before the work, so that a folder that cannot be written is told at once.
  auto staged = conform::StagedFolder::make(options.out, options.replace);
  if (!staged) {
    Error error = staged.error();
    error.file = options.out;  // as the user named it
    return error;
  }
  const auto lineup = options.lineup ? edits::read_lineup(*options.lineup)
                                     : align_session(*session, options, console);
  if (!lineup) return lineup.error();

  const auto report = conform::conform(*lineup, session->folder, staged->path() / "stems",
                                       conform_options(options, console));
  if (!report) return report.error();
  if (auto failure = common_failure(*report)) return *std::move(failure);
  if (auto written = write_lists(*lineup, staged->path()); !written) return written.error();
  if (auto placed = staged->commit(); !placed) return placed.error();

  const auto printed =
      console.print(options.json ? report::conform_json(*report, *lineup, options.out)
                                 : report::lineup_text(*lineup) + '\n' +
                                       report::conform_text(*report, *lineup, options.out,
                                                            to_text(options.bits)));
  if (!printed) return printed.error();
  const bool any_failed = std::any_of(report->stems.begin(), report->stems.end(), has_failed);
  const bool beyond = report_beyond_limit(*lineup, options.limit_ms, console);
  return beyond || any_failed || needs_person(*lineup) ? Exit::needs_person : Exit::done;
}

}  // namespace kilter::commands
