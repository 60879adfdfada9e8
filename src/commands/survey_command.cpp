#include "commands.h"
#include "kilter/report/survey_report.h"

namespace kilter::commands {

Result<Exit> survey_command(const Options& options, Console& console) {
  const auto session = open(options, console);
  if (!session) return session.error();
  const auto survey = load(*session, options, false, console);
  if (!survey) return survey.error();
  const auto printed =
      console.print(options.json ? report::survey_json(*survey) : report::survey_text(*survey));
  if (!printed) return printed.error();
  return needs_person(*survey) ? Exit::needs_person : Exit::done;
}

}  // namespace kilter::commands
