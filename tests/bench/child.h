// A program as a process of its own: what it cost, and the most memory that it held.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "cost.h"

namespace kilter::bench {

struct ChildCost {
  Cost cost;
  double peak_mb{0.0};  ///< resident, of the largest process
  int exit{0};
};

/// Runs `args`, whose first is the program's path, with its standard output thrown away. Its own
/// children count where it has waited for them. Throws std::runtime_error where it cannot be
/// started, ends by a signal, or exits with more than `worst_exit`.
ChildCost run_child(const std::vector<std::string>& args, int worst_exit = 1);

/// Does the work in a process of its own: what memory this one has held, the programs that it
/// starts count as theirs. Only while no other threads run. Throws std::runtime_error where the
/// work does.
void in_a_process(const std::function<void()>& work);

}  // namespace kilter::bench
