// How check puts where a stem stands.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "kilter/sync/phrases.h"
#include "kilter/sync/residuals.h"

namespace kilter::commands {

/// "5 ms late", "1.200 s early".
std::string late_text(double late_s);

/// "from 00:01:51 to 00:02:03", or "about 00:01:56" where both read alike.
std::string stretch_text(double from_s, double to_s, int decimals = 3);

/// One line on which all of a stem stands that does not keep its place, as one with another clock
/// does.
struct Drift {
  double from_s{0.0};
  double to_s{0.0};
  double late_from_s{0.0};
  double late_to_s{0.0};
  double slope() const { return (late_to_s - late_from_s) / (to_s - from_s); }
};

/// Nothing where it keeps its place, or goes in steps. A line that was parted into several
/// stretches is one all the same.
std::optional<Drift> drift_of(const sync::Residual& residual);

/// From one place on all of a stem stands off by as much, as one does that lost a stretch there.
struct Step {
  double in_step_to_s{0.0};  ///< up to here it is in step; between the two nothing tells
  double off_from_s{0.0};
  double late_s{0.0};
};

/// Nothing where it comes back, is off from its start, or steps more than once.
std::optional<Step> step_of(const sync::Residual& residual, double limit_s,
                            const std::vector<sync::Phrase>& phrases = {});

/// The step, in a sentence that begins with a blank.
std::string step_text(const Step& step);
/// What may be done to the file about it: "put 300 ms of silence in there".
std::string step_mending(const Step& step);

/// The drift, or every stretch, in a sentence that begins with a blank; empty for a stem that
/// stands still. What is off by less than is worth telling is in step. `phrases`: those of the
/// stem, which tell from where to where a stretch goes that a single window saw.
std::string course_text(const sync::Residual& residual, double limit_s,
                        const std::vector<sync::Phrase>& phrases = {});

}  // namespace kilter::commands
