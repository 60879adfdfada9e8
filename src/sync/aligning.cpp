#include "aligning.h"

namespace kilter::sync {

Aligning::Aligning(const MixInput& of_mix, const std::vector<TrackInput>& of_tracks,
                   const AlignOptions& with)
    : options(with),
      mix(of_mix),
      tracks(of_tracks),
      corrected(of_tracks.size()),
      states(of_tracks.size()),
      features(of_tracks.size(), bytes_of_features(of_tracks), with.open_store),
      mix_spans{{0.0, of_mix.length_s, 0.0, of_mix.length_s, 0.0}} {
  if (options.stop == nullptr) return;
  const auto make_stoppable = [&](const AnalysisSignal*& signal) {
    stoppable.push_back(std::make_unique<StoppableSignal>(*signal, *options.stop));
    signal = stoppable.back().get();
  };
  make_stoppable(mix.signal);
  for (TrackInput& track : tracks) make_stoppable(track.signal);
}

Error interrupted() { return {ErrorKind::interrupted, {}, "interrupted", ""}; }

}  // namespace kilter::sync
