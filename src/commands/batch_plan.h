// What a batch has to do, and what that takes.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "archive.h"
#include "batch_record.h"
#include "console.h"
#include "options.h"

namespace kilter::commands {

struct PlannedSession {
  ArchivedSession session;
  std::string why;    ///< it is to be done: "new", "failed before"; empty: it is done
  double bytes{0.0};  ///< of its files: how much work it is beside others
};

using BatchRecords = std::map<std::string, BatchRecord>;

/// Reads files whose times have changed. Fails with interrupted, and with bad_command where a
/// result would take the place of another archive's.
Result<std::vector<PlannedSession>> plan_of(const Options& options,
                                            const std::vector<ArchivedSession>& sessions,
                                            const BatchRecords& records, Console& console);

/// What --dry-run tells.
std::string plan_text(const Options& options, const std::vector<PlannedSession>& plan,
                      const BatchRecords& records, int columns);
std::string plan_json(const Options& options, const std::vector<PlannedSession>& plan,
                      const BatchRecords& records);

}  // namespace kilter::commands
