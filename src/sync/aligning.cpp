#include "aligning.h"

namespace kilter::sync {

Aligning::Aligning(const MixInput& of_mix, const std::vector<TrackInput>& of_tracks,
                   const AlignOptions& with)
    : mix(of_mix),
      options(with),
      tracks(of_tracks),
      corrected(of_tracks.size()),
      states(of_tracks.size()),
      mix_spans{{0.0, of_mix.length_s, 0.0, of_mix.length_s, 0.0}} {}

Error interrupted() { return {ErrorKind::interrupted, {}, "interrupted", ""}; }

}  // namespace kilter::sync
