// Whether a track was recorded at another rate than its file states.
#pragma once

#include <atomic>
#include <optional>
#include <vector>

#include "kilter/base/byte_store.h"
#include "kilter/base/result.h"
#include "kilter/signal/analysis_signal.h"
#include "kilter/signal/onset_features.h"
#include "kilter/sync/first_map.h"

namespace kilter::sync {

/// How well a track fits the reference when it is played at another rate.
struct RateTrial {
  double ratio{1.0};
  double match_sigma{0.0};  ///< as in FirstMap, but heard in at most 6 minutes of the track
};

struct RateVerdict {
  double ratio{1.0};         ///< true rate over the stated one; 1: no reason to doubt the header
  double true_rate_hz{0.0};  ///< the stated one where `ratio` is 1
  /// Of the track at its true rate, as RateCorrectedSignal(track, ratio) gives it: its track times
  /// are `ratio` times shorter than the file's. Only where `ratio` is not 1; else see `as_headed`.
  FirstMap map;
  OnsetFeatures features;
  std::vector<RateTrial> trials;  ///< for reports and for the curious; none where no doubt arose
};

struct RateSearchOptions {
  /// One more to try: what other tracks show when it is the reference whose header is wrong.
  std::optional<double> likely_ratio{};
  OpenByteStore open_store{};  ///< as onset_features() takes it
  const std::atomic<bool>* stop{nullptr};
};

/// Tries the rates 8, 11.025, 16, 22.05, 24, 32, 44.1, 48, 88.2 and 96 kHz and those 0.1 % from the
/// stated one and from the likeliest. `header_rate_hz` above 0 is what the file states, `features`
/// and `as_headed` what the track then gave. Another rate wins only where it matches far better
/// than any else; the ratio is then exact, and what a clock adds is in the map's drift.
///
/// Fails where the track cannot be read, and with `interrupted` soon after `stop` is set. Cost: a
/// look at the votes where the track lies on one line as stated for a minute or more; otherwise
/// first maps of 6 minutes, each about 0.3 s: four where the stated rate matches clearly, a dozen
/// where it does not; and one of the whole track if one wins. Memory: features of the track once
/// more, and 40 MB.
Result<RateVerdict> find_rate(const OnsetFeatures& reference, const AnalysisSignal& track,
                              const OnsetFeatures& features, double header_rate_hz,
                              const FirstMap& as_headed, const RateSearchOptions& options = {});

}  // namespace kilter::sync
