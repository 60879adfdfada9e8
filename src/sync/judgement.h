// How sure a placing is.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "evidence.h"
#include "seams.h"

namespace kilter::sync {

/// 95 % bound of the placing at one place, in microseconds: what the fit leaves open there, widened
/// where few windows vouch for it, and what no number of windows averages away.
double uncertainty_us(const Evidence& evidence, std::size_t track, int level, double track_s);

/// Why the evidence does not rule every other placing out, and how far off the track is if the
/// doubt is right.
struct Doubt {
  std::string reason;
  double off_s{0.0};
  /// What the doubt adds to the bound. Where the track would be then is known from few words:
  /// within what is doubted lay 93 % of 736 doubtful tracks of simulated sessions, within this 97.
  double widens_us() const { return 1.25e6 * off_s; }
};

/// Why a track may stand elsewhere towards its beginning or its end: where it is first, or last,
/// heard it is so much later than its map says.
enum class Outermost { first, last };
Doubt doubt_of_outermost(double line_s, double late_s, Outermost where);

/// Why a copy of the mix may stand elsewhere: a step of everything may be the tracks' or the mix's.
std::optional<Doubt> doubt_of_mix(const std::vector<Seam>& seams);

/// Nothing where the evidence rules every other placing out. `uncertainty_us` is the track's worst.
std::optional<Doubt> doubt_of(const Evidence& evidence, std::size_t track, double uncertainty_us);

}  // namespace kilter::sync
