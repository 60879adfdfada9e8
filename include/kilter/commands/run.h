// The command line, from its arguments to its exit code.
#pragma once

#include <atomic>
#include <ostream>
#include <span>
#include <string>

namespace kilter::commands {

/// What the program tells the shell.
enum class Exit {
  done = 0,
  needs_person = 1,  ///< finished, but something asks for a look
  bad_command = 2,   ///< nothing was done
  no_input = 3,
  cannot_write = 4,
  bug = 70,
  no_memory = 71,
  interrupted = 130
};

/// Cells in a line of what a stream leads to.
struct Width {
  int out{80};
  int err{80};
};

/// Runs `kilter` with `args` (without the program's name). Results go to `out`, all else to `err`;
/// progress too, when `err_is_terminal`. Tables take up to `width`, or 80. `stop`, set from
/// elsewhere, ends it early and clean. Returns an Exit. Throws only on lack of memory and the like.
int run(std::span<const std::string> args, std::ostream& out, std::ostream& err,
        bool err_is_terminal, const std::atomic<bool>& stop, const Width& width = {});

/// Tells of the exception that is being handled, for the last catch of a program. Returns an Exit.
int tell_exception(std::ostream& err);

}  // namespace kilter::commands
