#include "kilter/commands/run.h"

#include "commands.h"

namespace kilter::commands {
namespace {

Result<Exit> run_command(const Options& options, Console& console) {
  switch (options.command) {
    case Command::survey:
      return survey_command(options, console);
    case Command::align:
      return align_command(options, console);
    case Command::conform:
      return conform_command(options, console);
  }
  return Exit::bug;
}

Exit finish(const Result<Exit>& result, Console& console) {
  if (result) return *result;
  console.report(result.error());
  return exit_for(result.error());
}

}  // namespace

int run(std::span<const std::string> args, std::ostream& out, std::ostream& err,
        bool err_is_terminal, const std::atomic<bool>& stop) {
  const auto parsed = parse_options(args);
  if (!parsed) {
    err << error_text(parsed.error());
    return static_cast<int>(exit_for(parsed.error()));
  }
  if (const Answer* answer = std::get_if<Answer>(&*parsed)) {
    Console console(out, err, false, stop);
    const auto printed = console.print(answer->text);
    return static_cast<int>(printed ? Exit::done : finish(printed.error(), console));
  }
  const Options& options = std::get<Options>(*parsed);
  Console console(out, err, err_is_terminal && !options.quiet, stop);
  return static_cast<int>(finish(run_command(options, console), console));
}

}  // namespace kilter::commands
