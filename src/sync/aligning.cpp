#include "aligning.h"

#include <utility>

#include "kilter/sync/talk_levels.h"

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

Result<void> measure_levels(Aligning& session) {
  if (!session.levels_db.empty()) return {};
  std::vector<std::vector<double>> all(session.tracks.size());
  auto done = for_tracks(session, [&](std::size_t k) -> Result<void> {
    auto levels = levels_db(*session.tracks[k].signal, session.options.stop);
    if (!levels) return levels.error();
    all[k] = *std::move(levels);
    return {};
  });
  if (done) session.levels_db = std::move(all);
  return done;
}

Error interrupted() { return {ErrorKind::interrupted, {}, "interrupted", ""}; }

}  // namespace kilter::sync
