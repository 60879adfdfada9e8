// Frames of tracks taken through their maps, and the filters by which they explain a signal.
#pragma once

#include <algorithm>
#include <complex>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "kilter/signal/fft.h"
#include "kilter/sync/window_meter.h"
#include "wide_bands.h"

namespace kilter::sync {

/// One complex value per bin of a band, split so that loops over bins vectorise.
struct BandSpectrum {
  std::vector<float> re;
  std::vector<float> im;
  void resize(std::size_t bins) {
    re.resize(bins);
    im.resize(bins);
  }
  void clear() {
    std::fill(re.begin(), re.end(), 0.0F);
    std::fill(im.begin(), im.end(), 0.0F);
  }
  Split split() { return {re, im}; }
  ConstSplit split() const { return {re, im}; }
};

/// Frames of one size, as spectra of one band. Not thread-safe: one per thread.
class FrameTaker {
 public:
  FrameTaker(int frame, double from_hz, double to_hz);

  int frame() const { return fft_.size(); }
  std::size_t bins() const { return bins_; }
  std::size_t first_bin() const { return first_bin_; }
  double bin_hz(std::size_t b) const {
    return static_cast<double>(first_bin_ + b) * kAnalysisRateHz / fft_.size();
  }
  /// The signal's frame round frame `centre`.
  Result<void> take(const AnalysisSignal& signal, std::int64_t centre, BandSpectrum& out);
  /// The track's frame that is heard round timeline second `line_s`, to the fraction of a sample.
  /// False, and a cleared `out`, where its map holds no such time.
  Result<bool> take(const MappedTrack& track, double line_s, BandSpectrum& out);

 private:
  /// A stretch of one signal, kept because the next frame wants most of it.
  struct Block {
    const AnalysisSignal* signal{nullptr};
    std::int64_t first{0};
    std::int64_t ahead{0};  // read beyond the frame that was asked for
    std::vector<float> samples;
  };
  Block& block_of(const AnalysisSignal& signal);
  Result<const float*> samples(const AnalysisSignal& signal, std::int64_t first);

  RealFft fft_;
  std::size_t first_bin_;
  std::size_t bins_;
  std::vector<float> window_;
  FftVector<float> buffer_;
  FftVector<std::complex<float>> spectrum_;
  std::vector<Block> blocks_;
  std::size_t next_block_{0};
};

/// Least squares per bin: the filters H for which sum(H * tracks) comes nearest to the target over
/// all frames added.
class JointFit {
 public:
  explicit JointFit(std::size_t bins) : bins_(bins) {}
  void reset(std::size_t tracks);
  void add(std::span<const BandSpectrum> tracks, const BandSpectrum& target);
  /// The same of many frames, with the same bits in half the time: `tracks` by frame, then track.
  void add_all(std::span<const BandSpectrum> tracks, std::span<const BandSpectrum> targets);
  /// `pool` bins to both sides count as well: filters smooth over frequency, from fewer frames.
  void solve(std::size_t pool = 0);
  /// target - sum(H * tracks). `out` may be the target.
  void residual(std::span<const BandSpectrum> tracks, const BandSpectrum& target,
                BandSpectrum& out) const;
  /// Undoes a track's part of a residual: `out` += H * sound.
  void put_back(std::size_t track, const BandSpectrum& sound, BandSpectrum& out) const;
  /// The filter of a track, once solved.
  const BandSpectrum& filter(std::size_t track) const { return filters_[track]; }
  /// Sum of a track's power over all frames, per bin.
  std::span<const float> power(std::size_t track) const {
    return matrix_[track * (track + 1) / 2 + track].re;
  }

 private:
  std::size_t bins_;
  std::size_t tracks_{0};
  std::vector<BandSpectrum> matrix_;  // lower triangle: conj(row) * column
  std::vector<BandSpectrum> cross_;   // conj(track) * target
  std::vector<BandSpectrum> filters_;
};

/// The track's map on the clock of another: `other` maps the clock's owner to the timeline. Only
/// near timeline second `line_s`: a straight line there, `reach_s` to both sides. Nothing where one
/// of the two lies elsewhere. The track is taken to be heard `late_s` later than its map says.
std::optional<TimeMap> on_clock_of(const TimeMap& other, const TimeMap& track, double line_s,
                                   double reach_s, double late_s);

}  // namespace kilter::sync
