#include "commands.h"
#include "kilter/report/survey_report.h"

namespace kilter::commands {

Result<Exit> survey_command(const Options& options, Console& console) {
  const auto loaded = load(options, false, console);
  if (!loaded) return loaded.error();
  const survey::Survey& survey = loaded->survey;
  const auto printed =
      console.print(options.json ? report::survey_json(survey) : report::survey_text(survey));
  if (!printed) return printed.error();
  return survey::needs_person(survey) ? Exit::needs_person : Exit::done;
}

}  // namespace kilter::commands
