#include "aligning.h"

namespace kilter::sync {
namespace {

std::int64_t feature_bytes(const std::vector<TrackInput>& tracks) {
  constexpr std::int64_t kHop = kAnalysisRateHz / kFeatureRateHz;
  std::int64_t bytes = 0;
  for (const TrackInput& track : tracks) bytes += track.signal->frames() / kHop * kFeatureBands;
  return bytes;
}

}  // namespace

Aligning::Aligning(const MixInput& of_mix, const std::vector<TrackInput>& of_tracks,
                   const AlignOptions& with)
    : mix(of_mix),
      options(with),
      tracks(of_tracks),
      corrected(of_tracks.size()),
      states(of_tracks.size()),
      features(of_tracks.size(), feature_bytes(of_tracks), with.open_store),
      mix_spans{{0.0, of_mix.length_s, 0.0, of_mix.length_s, 0.0}} {}

Error interrupted() { return {ErrorKind::interrupted, {}, "interrupted", ""}; }

}  // namespace kilter::sync
