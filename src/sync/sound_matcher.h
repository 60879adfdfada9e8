// Where a few words of one signal lie in another.
#pragma once

#include <atomic>
#include <complex>
#include <cstdint>
#include <vector>

#include "kilter/signal/analysis_signal.h"
#include "kilter/signal/fft.h"

namespace kilter::sync {

/// Where a sound fits best within reach.
struct SoundMatch {
  bool found{false};        ///< it stands out, has no rival there, and both sounds are alike
  double offset_s{0.0};     ///< later than the centre of the search, to a part of a frame
  double peak_sigma{0.0};   ///< height of the match over what chance gives
  double rival_sigma{0.0};  ///< that of the next, elsewhere within reach
  double correlation{0.0};  ///< of both sounds there, their spectra levelled; 0..1
  bool inverted{false};
};

/// Whether a match may be upside down.
enum class Polarity { upright, inverted, either };

/// Correlates a sound with a stretch of another signal, both spectra levelled over 100 Hz, between
/// 150 and 7000 Hz. Not thread-safe: one per thread; it keeps its buffers, 9 MB, from sound to
/// sound.
class SoundMatcher {
 public:
  static constexpr std::int64_t kMostFrames = 1 << 18;  ///< of the sound and what is searched

  /// The sound to look for. Cost: a transform of 2^18. Fails where the signal cannot be read.
  Result<void> take(const AnalysisSignal& signal, std::int64_t first, std::int64_t length);

  /// Looks for it where its first frame would be `centre`, and `reach` frames to both sides; all of
  /// that with the sound's length fits in kMostFrames. Cost: three transforms of 2^18.
  Result<SoundMatch> look(const AnalysisSignal& in, std::int64_t centre, std::int64_t reach,
                          Polarity polarity);

  /// Looks for it wherever its first frame may be from `from` to `to`, however far that is; the
  /// offset is later than `from`. What matches twice is not found. Cost: as look(), per stretch of
  /// 2^18 less the sound's length. Gives up, not found, once `stop` is set, where it is given.
  Result<SoundMatch> look_over(const AnalysisSignal& in, std::int64_t from, std::int64_t to,
                               Polarity polarity, const std::atomic<bool>* stop);

 private:
  void level(FftVector<std::complex<float>>& bins);
  SoundMatch best_match(std::int64_t reach, Polarity polarity) const;

  static constexpr int kFft = kMostFrames;
  RealFft fft_{kFft};
  std::int64_t length_{0};
  double power_{0.0};                                      // of the levelled sound
  FftVector<float> around_ = FftVector<float>(kFft);       // levelled, after look()
  FftVector<float> correlation_ = FftVector<float>(kFft);  // at lag - reach
  FftVector<std::complex<float>> sound_bins_ =
      FftVector<std::complex<float>>(static_cast<std::size_t>(fft_.bins()));
  FftVector<std::complex<float>> around_bins_ = sound_bins_;
  FftVector<std::complex<float>> cross_ = sound_bins_;
  std::vector<double> running_;
};

}  // namespace kilter::sync
