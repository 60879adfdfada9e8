// What a network does to the time of a guest's voice on its way into the mix.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <vector>

namespace kilter::simulator {

/// The jitter buffer runs full or empty for a while: from `line_s` (mix time) the voice is late by
/// `size_s` (early when below 0), and back where it was `length_s` later. It moves there and back
/// by playing faster or slower for 60 ms or more, by at most half.
struct Excursion {
  double line_s{0.0};
  double size_s{0.0};
  double length_s{1.0};  ///< both moves included
};

/// The buffer changes for good: from `line_s` (mix time) the voice is later by `step_s` than
/// before. Later: the last stretch is heard twice; earlier: a stretch is never heard.
struct BufferStep {
  double line_s{0.0};
  double step_s{0.0};
};

/// How a stream is late against the straight way, as time goes by in the mix.
class StreamTime {
 public:
  /// World second that a guest's clock shows after so many of its own seconds.
  using Played = std::function<double(double own_s)>;

  /// `steps` in order of time.
  StreamTime(std::vector<Excursion> excursions, std::vector<BufferStep> steps);

  /// The stream is played sample for sample on the mix's clock from `from_s` to `to_s` (mix time).
  /// As often as it has come away from the right time by half of `splice_s`, one splice of that
  /// length brings it to the other side. `first_error_s`: how late it is at the beginning.
  void play_sample_for_sample(const Played& played, double own_from_s, double from_s, double to_s,
                              double splice_s, double first_error_s);

  bool is_straight() const { return excursions_.empty() && pieces_.size() == 1 && !played_; }
  /// How late the voice is that is heard at a moment of the mix.
  double delay_s(double line_s) const;
  /// What the mix gets of `voice`, both at kWorldRateHz from mix second 0. Splices and steps are
  /// cross-faded over 5 ms.
  std::vector<float> apply(std::span<const float> voice) const;
  /// Moments of the mix at which frames are left out or repeated.
  std::vector<double> jumps_s() const;

 private:
  /// Between two jumps.
  struct Piece {
    double from_s{0.0};
    double step_s{0.0};  // sum of the steps so far
    double own_s{0.0};   // sample for sample: own seconds less mix seconds
  };
  double delay_in(const Piece& piece, double line_s) const;
  double excursion_s(double line_s) const;

  std::vector<Excursion> excursions_;
  std::vector<Piece> pieces_;
  Played played_;
};

/// About `per_minute` excursions between `from_s` and `to_s`, none over another: 2.5 ms to
/// `largest_s`, either way, over 0.5 to 3 s.
std::vector<Excursion> random_excursions(std::uint64_t seed, double from_s, double to_s,
                                         double per_minute, double largest_s);

}  // namespace kilter::simulator
