// How the readers of lists say what a careful one would refuse.
#pragma once

#include <stdexcept>
#include <string>

namespace kilter::edits {

/// Thrown by what reads and checks a list: not legal, or not where the sound belongs.
struct Refused : std::runtime_error {
  using std::runtime_error::runtime_error;
};

inline void require(bool held, const std::string& what) {
  if (!held) throw Refused(what);
}

}  // namespace kilter::edits
