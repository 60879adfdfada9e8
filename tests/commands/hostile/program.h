// The program in a process of its own, so that a crash, a hang and its memory are seen from
// outside.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace kilter::test {

struct ProgramRun {
  int exit{-1};           ///< its exit code; -1 where there is none
  int signal{0};          ///< what ended it, where a signal did
  bool timed_out{false};  ///< and was killed
  double seconds{0.0};
  long peak_mb{0};  ///< of memory that was really used
  std::string out;
  std::string err;
};

/// Runs kilter with `where` as its current folder and `where`/scratch for what it keeps meanwhile;
/// kills it after `most_s`. `as_nobody` gives the rights of root away first, where there are any,
/// and with them those over files of others.
ProgramRun run_program(const std::vector<std::string>& args, const std::filesystem::path& where,
                       double most_s, bool as_nobody);

}  // namespace kilter::test
