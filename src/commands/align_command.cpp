#include <filesystem>

#include "commands.h"
#include "kilter/edits/lineup_file.h"
#include "kilter/report/lineup_report.h"
#include "kilter/report/text_table.h"
#include "kilter/sync/align.h"
#include "lineup_builder.h"
#include "outputs.h"

namespace kilter::commands {

Result<Lineup> align_session(const session::Session& session, const Options& options,
                             Console& console) {
  if (session.files.size() < 2)
    return Error{ErrorKind::no_input, session.files.front().name,
                 "is the only audio file of the session",
                 "put the mixdown and the recordings of the people together"};
  const auto survey = load(session, options, true, console);
  if (!survey) return survey.error();
  const auto input = align_input(*survey);
  if (!input) return input.error();
  sync::AlignOptions align;
  align.threads = options.threads;
  align.stop = &console.stop();
  align.progress = [&](double done, const char* stage) { console.progress(stage, done); };
  if (has_no_mix(*survey)) {
    const auto placing = sync::place_without_mix(input->tracks, align);
    if (!placing) return placing.error();
    return build_lineup(*survey, *input, *placing);
  }
  const auto alignment = sync::align(input->mix, input->tracks, align);
  if (!alignment) return alignment.error();
  return build_lineup(*survey, *input, *alignment);
}

Result<Exit> align_command(const Options& options, Console& console) {
  const auto session = open(options, console);
  if (!session) return session.error();
  const auto file = options.lineup.value_or(default_lineup_file(*session));
  if (auto refused = output_refusal(file, *session)) return *std::move(refused);
  if (std::error_code ignored; std::filesystem::exists(file, ignored) && !edits::read_lineup(file))
    return Error{ErrorKind::bad_command, file, "is there already and is no lineup",
                 "name another file with --lineup, or move that one away"};
  const auto lineup = align_session(*session, options, console);
  if (!lineup) return lineup.error();
  if (auto written = edits::write_lineup(*lineup, file); !written) return written.error();
  const auto printed = console.print(options.json ? edits::to_text(*lineup)
                                                  : report::lineup_text(*lineup) + "\nLineup  " +
                                                        report::printable(file.string()) + '\n');
  if (!printed) return printed.error();
  return needs_person(*lineup) ? Exit::needs_person : Exit::done;
}

}  // namespace kilter::commands
