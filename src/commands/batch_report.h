// How a batch went: for people, for scripts, and for CI.
#pragma once

#include <string>
#include <vector>

#include "batch_record.h"
#include "options.h"

namespace kilter::commands {

/// A session, and what became of it.
struct BatchOutcome {
  BatchRecord record;
  bool was_done{false};    ///< before this run
  bool is_missing{false};  ///< nobody has done it; the record has nothing but names
};

bool needs_a_look(const BatchOutcome& outcome);

/// "1 leak, 2 seams": what asks for a person, or the error.
std::string outcome_note(const BatchOutcome& outcome);

/// A row per session, the worst first, and a sentence that sums up.
std::string batch_text(const std::vector<BatchOutcome>& outcomes, BatchMode mode, int columns);
/// One JSON document, sessions in the order of the table.
std::string batch_json(const std::vector<BatchOutcome>& outcomes);
/// A test suite with a test case per session, in the form that CI servers read.
std::string batch_junit(const std::vector<BatchOutcome>& outcomes, const std::string& name);

}  // namespace kilter::commands
