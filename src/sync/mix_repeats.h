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
};

/// Takes out of `voice`, what no track explains in order of time, all that lies near an end of the
/// mix and that the mix holds elsewhere: as when sound sets in tells, and the sound itself there.
/// Cost: a first map of a few seconds per stretch near an end, and a few transforms of 2^18 per
/// place. Fails where the mix cannot be read.
Result<MixRepeat> take_repeats(const AnalysisSignal& mix, const OnsetFeatures& mix_features,
                               const std::vector<Span>& mix_spans, const std::atomic<bool>* stop,
                               std::vector<Stretch>& voice);

}  // namespace kilter::sync
