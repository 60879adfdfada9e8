// What is said in each track, phrase by phrase, and where the mix has it.
#pragma once

#include <atomic>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/base/result.h"
#include "kilter/sync/window_meter.h"

namespace kilter::sync {

/// Up to three seconds of a person's talk without a pause; times are the mix's.
struct Phrase {
  double from_s{0.0};
  double to_s{0.0};
  bool heard{false};  ///< the mix has it, so much earlier than the track:
  double late_s{0.0};
  double sigma_s{0.0};   ///< standard error
  bool inverted{false};  ///< heard, and upside down against the mix
  double level_db{0.0};  ///< over the track's loudest talk, in the mean: below 0
  /// Another track is digital silence meanwhile: it may be that one's person, across the room.
  bool beside_mute{false};

  double length_s() const { return to_s - from_s; }
};

struct TrackPhrases {
  /// In order of time; of at least 0.75 s.
  std::vector<Phrase> phrases;
  /// Where the track is digital silence, and the mix holds talk that other tracks have later than
  /// it and none in place: across the room from whoever says it, so that his own is missing.
  std::vector<Stretch> missing;
};

struct PhraseOptions {
  double near_s{0.1};  ///< how far off a phrase is found, +-; at most 0.12
  double far_s{6.0};   ///< and what is not found there, at most 6
  int threads{1};
  /// Set from elsewhere to give up: it then fails with `interrupted` within a second or so.
  const std::atomic<bool>* stop{nullptr};
};

/// Goes through what each track's own person says: where it is nearer to its loudest talk than the
/// others are to theirs. Each phrase is a window of its own, explained by its track and those that
/// sound as well; so a sentence alone shows, which in windows of a fixed length others drown. What
/// is said while somebody else is nearer to his loudest is in no phrase.
/// One entry per track. Same result for any `threads`. Fails where a signal cannot be read. Cost:
/// 60 000 transforms of 4096 per hour of talk, and four of 2^18 for each phrase that is not near,
/// up to 60 of a track. Memory: 8 bytes per quarter of a second and track, and 50 MB per thread.
Result<std::vector<TrackPhrases>> measure_phrases(const AnalysisSignal& mix, double mix_length_s,
                                                  const std::vector<MappedTrack>& tracks,
                                                  const PhraseOptions& options);

}  // namespace kilter::sync
