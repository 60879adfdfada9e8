#include "outgoing_words.h"

#include <algorithm>
#include <cmath>
#include <cstdint>

#include "sound_matcher.h"

namespace kilter::sync {
namespace {

constexpr std::size_t kMostStretches = 60;
constexpr double kLongest_s = 8.0;
// There and back again: below the least, what a coder repeats looks the same.
constexpr double kLeastLater_s = 0.02;
constexpr double kMostLater_s = 2.0;
// Beside what leaks words explain little of a stretch: 8 dB below it 32 sigma and more, and a
// correlation of 0.19. Of files that hold the mix alone 12 sigma and 0.11, a room's echo.
constexpr double kLeastSigma = 18.0;
constexpr double kLeastCorrelation = 0.14;
constexpr double kMostRival = 0.7;  // music comes again and again

std::int64_t frames_of(double seconds) { return std::llround(seconds * kAnalysisRateHz); }

}  // namespace

Result<double> outgoing_words_s(const PlacedSignal& file, const PlacedSignal& mix,
                                const std::vector<Stretch>& stretches, double enough_s,
                                const std::atomic<bool>* stop) {
  SoundMatcher matcher;
  const std::int64_t reach = frames_of(0.5 * (kMostLater_s - kLeastLater_s));
  double words_s = 0.0;
  for (std::size_t i = 0; i < std::min(stretches.size(), kMostStretches); ++i) {
    if (stop != nullptr && stop->load())
      return Error{ErrorKind::interrupted, {}, "interrupted", ""};
    const Stretch& stretch = stretches[i];
    const double length_s = std::min(stretch.to_s - stretch.from_s, kLongest_s);
    if (auto taken =
            matcher.take(*file.signal, frames_of(file.at(stretch.from_s)), frames_of(length_s));
        !taken)
      return taken.error();
    const std::int64_t centre = frames_of(mix.at(stretch.from_s) + kLeastLater_s) + reach;
    const auto match = matcher.look(*mix.signal, centre, reach, Polarity::either);
    if (!match) return match.error();
    if (match->peak_sigma >= kLeastSigma && match->correlation >= kLeastCorrelation &&
        match->rival_sigma <= kMostRival * match->peak_sigma)
      words_s += length_s;
    if (words_s >= enough_s) break;
  }
  return words_s;
}

}  // namespace kilter::sync
