#include "kilter/commands/run.h"

#include <exception>
#include <new>

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
    case Command::check:
      return check_command(options, console);
    case Command::batch:
      return batch_command(options, console);
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
        bool err_is_terminal, const std::atomic<bool>& stop, const Width& width) {
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
  Console console(out, err, err_is_terminal && !options.quiet, stop, steady_seconds, width);
  return static_cast<int>(finish(run_command(options, console), console));
}

int tell_exception(std::ostream& err) {
  constexpr const char* kReport = "report it, with the output of kilter --version";
  try {
    throw;
  } catch (const std::bad_alloc&) {
    err << message_text("memory ran out", "close other programs, or work with fewer --threads");
    return static_cast<int>(Exit::no_memory);
  } catch (const std::exception& error) {
    err << message_text(std::string("a bug of ours: ") + error.what(), kReport);
  } catch (...) {
    err << message_text("a bug of ours", kReport);
  }
  return static_cast<int>(Exit::bug);
}

}  // namespace kilter::commands
