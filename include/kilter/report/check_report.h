// What a check of finished stems says: for people, for scripts, and for CI.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/report/text_table.h"

namespace kilter::report {

enum class Verdict {
  within,       ///< nowhere further from the mix than permitted, and the bound says so too
  beyond,       ///< somewhere it is, or it is upside down
  no_evidence,  ///< the mix bears out too little of it to tell
  left_out      ///< no person's: a copy of the mix, or told to be ignored
};
const char* to_text(Verdict verdict);

/// One minute of the timeline.
struct CheckedMinute {
  std::optional<double> late_s;  ///< nothing: the stem says nothing there that the mix bears out
  int windows{0};
};

struct CheckedStem {
  std::string name;
  std::string file;
  Verdict verdict{Verdict::no_evidence};
  std::optional<double> worst_s;  ///< later than the mix: positive
  double worst_at_s{0.0};
  double uncertainty_us{0.0};  ///< 95 % bound on worst_s
  double slope_ppm{0.0};       ///< mean; positive: it falls behind
  int clear{0};                ///< windows that bear it out
  int speaking{0};             ///< windows in which it sounds
  std::vector<CheckedMinute> minutes;
  std::vector<Finding> findings;
};

struct CheckReport {
  std::string session;
  std::string mix;
  double length_s{0.0};
  double from_s{0.0};  ///< where the stems start on the timeline of their lineup
  double limit_ms{1.0};
  bool allow_silent{false};  ///< stems pass that hardly sound
  std::vector<CheckedStem> stems;
  /// How far all stems together explain the mix: the median over the half seconds with talk.
  std::optional<double> null_db;
  std::vector<std::optional<double>> null_db_by_minute;
  std::vector<Finding> findings;
};

/// Whether it stands where it should, and only its polarity does not.
bool is_only_inverted(const CheckedStem& stem);
/// Whether it is so nearly silent that --allow-silent may let it pass.
bool hardly_sounds(const CheckedStem& stem);
/// Whether CI may go on: a stem that breaks off, is missing or not as long as
/// the mix that was written beside it does not pass wherever it stands, and nothing does where the
/// mix breaks off or the lineup beside them cannot be read.
bool passes(const CheckReport& report);
bool passes(const CheckedStem& stem, const CheckReport& report);

/// The table as wide as `width` columns where names need it; sentences stay at 80.
std::string check_text(const CheckReport& report, int width = kTerminalColumns);
std::string check_json(const CheckReport& report);
/// A test suite with a test case per stem, in the form that CI servers read.
std::string check_junit(const CheckReport& report);

}  // namespace kilter::report
