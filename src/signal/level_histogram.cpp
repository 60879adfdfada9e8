#include "kilter/signal/level_histogram.h"

#include <algorithm>
#include <cstddef>
#include <limits>

namespace kilter {
namespace {

constexpr double kLowestDb = -160.0;
constexpr double kBinsPerDb = 10.0;
constexpr double kSilence = -std::numeric_limits<double>::infinity();

double level_of(std::size_t bin) {
  return kLowestDb + (static_cast<double>(bin) + 0.5) / kBinsPerDb;
}

}  // namespace

void LevelHistogram::add(double db) {
  const double bin = (std::max(db, kLowestDb) - kLowestDb) * kBinsPerDb;
  ++bins_[static_cast<std::size_t>(std::min(bin, static_cast<double>(bins_.size()) - 1.0))];
  ++count_;
}

double LevelHistogram::percentile_db(double share) const {
  const auto wanted = static_cast<std::int64_t>(share * static_cast<double>(count_));
  std::int64_t below = 0;
  for (std::size_t bin = 0; bin < bins_.size(); ++bin) {
    below += bins_[bin];
    if (below > wanted || below == count_) return bin == 0 ? kSilence : level_of(bin);
  }
  return kSilence;
}

double LevelHistogram::share_above(double db) const {
  std::int64_t above = 0;
  for (std::size_t bin = 0; bin < bins_.size(); ++bin)
    if (level_of(bin) > db) above += bins_[bin];
  return static_cast<double>(above) / static_cast<double>(count_);
}

}  // namespace kilter
