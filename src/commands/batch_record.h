// What a batch remembers of each session: a JSON line.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace kilter::commands {

/// A file that a result was made from.
struct InputMark {
  std::string file;  ///< below the session's folder, else absolute
  std::uint64_t bytes{0};
  std::int64_t time_ns{0};  ///< when it was changed last, since 1970
  std::string digest;       ///< of its bytes; empty: not made
};

struct BatchRecord {
  std::string name;                      ///< the session's path below the archive
  std::string folder;                    ///< of its result, below the batch's
  std::string archive;                   ///< whose session it is, absolute; empty: not told
  int exit{0};                           ///< as the command alone exits; above 128: by that signal
  std::map<std::string, int> standings;  ///< tracks; for stems that are checked, verdicts
  std::optional<double> worst_uncertainty_us;
  std::map<std::string, int> findings;  ///< how many of each code
  double seconds{0.0};
  int threads{1};
  double sound_s{0.0};  ///< of all channels, added up
  std::string ended;    ///< ISO 8601, to a microsecond
  std::string program;  ///< version
  std::vector<std::string> options;
  std::vector<InputMark> inputs;
  std::vector<std::string> messages;  ///< lines, as on standard error

  /// Whether there is a result, be it one that needs a person.
  bool is_finished() const { return exit == 0 || exit == 1; }
};

/// One line, with its end.
std::string to_line(const BatchRecord& record);
/// The same as an indented object.
std::string to_json(const std::vector<BatchRecord>& records, const std::string& kind,
                    const std::map<std::string, int>& counts);
/// Nothing where the line is no record.
std::optional<BatchRecord> record_from_line(std::string_view line);

}  // namespace kilter::commands
