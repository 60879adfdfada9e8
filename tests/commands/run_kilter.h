// The program as a user meets it: arguments in, two streams and an exit code out.
#pragma once

#include <atomic>
#include <sstream>
#include <string>
#include <vector>

#include "kilter/commands/run.h"

namespace kilter::test {

struct Told {
  int exit{-1};
  std::string out;
  std::string err;
};

inline Told run_kilter(const std::vector<std::string>& args, bool terminal = false,
                       bool stopped = false) {
  const std::atomic<bool> stop{stopped};
  std::ostringstream out;
  std::ostringstream err;
  const int exit = commands::run(args, out, err, terminal, stop);
  return {exit, out.str(), err.str()};
}

/// The words of a text that is broken into lines, in one.
inline std::string unwrapped(const std::string& text) {
  std::istringstream words(text);
  std::string line;
  for (std::string word; words >> word;) line += word + ' ';
  return line;
}

}  // namespace kilter::test
