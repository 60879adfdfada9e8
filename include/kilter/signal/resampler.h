// A track bent onto the timeline: the resampler that makes stems.
#pragma once

#include <cstdint>
#include <functional>
#include <limits>
#include <memory>
#include <span>

#include "kilter/base/result.h"
#include "kilter/base/time_map.h"
#include "kilter/base/units.h"

namespace kilter {

/// Output frame n is what the track holds for timeline second `from_s + n / out_rate`. Silence
/// where no span of the map lies, and outside the track. Linear phase, nothing is moved in time.
///
/// Where a span keeps the rate and moves the track by whole frames, both to within 1e-6 of a frame
/// over the whole span, output is input, bit for bit. Elsewhere the track goes through windowed
/// sincs. With L the lower of the two half rates, the pass band ends
/// - at 20 kHz where L lies from 22.05 to 24 kHz (44.1 and 48 kHz),
/// - at L * 5/6 above (40 kHz where both rates are 96 kHz),
/// - at L * 0.907 below (7.26 kHz where one rate is 16 kHz).
/// Inside it the level is true to 0.001 dB, and images, aliases and distortion of every kind add up
/// to less than -130 dB of the sound, under drift, wander and any offset. From the pass band's
/// mirror image in L on (28 kHz for 48 kHz) the track is -130 dB down; between the two the level
/// falls through -6 dB at L, and what folds there stays there, above the pass band. A span that
/// presses the sound together (by over 0.2 % more than the rates do) moves all this down with it.
///
/// Positions are good to 1e-5 of a frame over 12 hours at 96 kHz. Output does not depend on the
/// block size, nor on the processor.
/// Cost: where nothing is reduced, 64 multiplications per track frame at 48 kHz (104 at 44.1 kHz)
/// and 32 per output frame (64 where the rates differ); else some 260 per output frame from 96 to
/// 48 kHz, and as many times more as the track is reduced further. Memory: a block of input, and
/// for every two rates (and for every rate of pressing) a table of 0.3 to 1 MB that all resamplers
/// share. One object per track and thread.
class MapResampler {
 public:
  /// Fills its argument with the track's next frames, one channel, and returns how many: fewer than
  /// asked only at the end. Asked only for frames that outputs need, in order.
  using Pull = std::function<Result<std::int64_t>(std::span<float>)>;

  /// Rates from 1 kHz to 768 kHz.
  MapResampler(const TimeMap& map, SampleRate in_rate, SampleRate out_rate, double from_s,
               Pull pull);
  MapResampler(MapResampler&&) noexcept;
  MapResampler& operator=(MapResampler&&) noexcept;
  ~MapResampler();

  /// Fills `out` with the next output frames. Fails only as the pull fails; no read() after that.
  Result<void> read(std::span<float> out);

  /// How output comes about.
  enum class Passage {
    silence,      ///< no span lies there
    copy,         ///< the track's own samples, and silence outside the track
    interpolated  ///< computed between the track's samples
  };
  static constexpr std::int64_t kEndless = std::numeric_limits<std::int64_t>::max();
  struct Ahead {
    Passage passage{Passage::silence};
    std::int64_t frames{kEndless};  ///< until the passage changes; kEndless after the last span
  };
  /// How the next output frames will come about, be it through one span or several.
  Ahead ahead() const;

 private:
  class Engine;
  std::unique_ptr<Engine> engine_;
};

}  // namespace kilter
