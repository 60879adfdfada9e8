// Talk that the mix holds twice: a teaser in front of the show, or a summary behind it.
#pragma once

#include <atomic>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/base/result.h"
#include "kilter/base/time_map.h"
#include "kilter/signal/analysis_signal.h"
#include "kilter/signal/onset_features.h"

namespace kilter::sync {

/// Talk that stands elsewhere in the mix once more; timeline seconds.
struct MixRepeat {
  std::vector<Stretch> stretches;
  double again_s{0.0};  ///< where the first of them begins once more
  /// How much later the mix holds each of them again, and each that is explained there no more than
  /// here; mix seconds.
  std::vector<double> shifts_s{};
};

/// Takes out of `voice`, what no track explains in order of time, all that lies near an end of the
/// mix and that the mix holds elsewhere, where it is explained (not so in `others` either): as when
/// sound sets in tells, and the sound itself there. Cost: a first map of a few seconds per stretch
/// near an end, and a few transforms of 2^18 per place. Fails where the mix cannot be read.
Result<MixRepeat> take_repeats(const AnalysisSignal& mix, const OnsetFeatures& mix_features,
                               const std::vector<Span>& mix_spans, const std::atomic<bool>* stop,
                               std::vector<Stretch>& voice, const std::vector<Stretch>& others);

/// Whether all that a track was placed by, windows of the mix by their middles in mix seconds, is
/// the very sound that the mix holds `shift_s` later: then the track fits there as well. Listens to
/// a few of them. Fails where the mix cannot be read.
Result<bool> are_held_again(const AnalysisSignal& mix, const std::vector<double>& middles_s,
                            double shift_s);

}  // namespace kilter::sync
