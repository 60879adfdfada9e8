// The map resampler, slow and obvious: every output frame by itself, from the whole track, in
// double precision, with the kernel worked out anew for every tap.
#pragma once

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "kilter/base/time_map.h"

namespace kilter::reference {

inline double bessel_i0(double x) {
  double sum = 1.0;
  double term = 1.0;
  for (int k = 1; term > 1e-18 * sum; ++k) {
    term *= (x / (2.0 * k)) * (x / (2.0 * k));
    sum += term;
  }
  return sum;
}

/// Where the pass band ends, in half rates of the lower rate.
inline double pass_share(double in_hz, double out_hz) {
  return std::clamp(20000.0 / (0.5 * std::min(in_hz, out_hz)), 5.0 / 6.0, 20000.0 / 22050.0);
}

/// A sinc that is 0 `half_width` frames away, Kaiser window for 146 dB.
inline double kernel(double distance, double stretch, double half_width) {
  const double x = distance / half_width;
  if (std::abs(x) >= 1.0) return 0.0;
  constexpr double kBeta = 0.1102 * (146.0 - 8.7);
  const double window = bessel_i0(kBeta * std::sqrt(1.0 - x * x)) / bessel_i0(kBeta);
  const double angle = std::numbers::pi * distance / stretch;
  return window * (angle == 0.0 ? 1.0 : std::sin(angle) / angle);
}

/// What the track holds at `position` frames; silence outside it. `stretch` above 1 where the sound
/// is pressed together by that factor. Whole vectors of eight taps, by Kaiser's formula.
inline double value_at(const std::vector<float>& track, double position, double stretch,
                       double share = 5.0 / 6.0) {
  const double half_width =
      4.0 * std::ceil((146.0 - 7.95) / (14.36 * (1.0 - share) / stretch) / 8.0);
  double sum = 0.0;
  double weights = 0.0;
  const auto first = static_cast<std::ptrdiff_t>(std::ceil(position - half_width));
  for (std::ptrdiff_t i = first; static_cast<double>(i) < position + half_width; ++i) {
    const double weight = kernel(static_cast<double>(i) - position, stretch, half_width);
    weights += weight;
    if (i >= 0 && i < std::ssize(track))
      sum += weight * static_cast<double>(track[static_cast<std::size_t>(i)]);
  }
  return sum / weights;
}

/// What lies below `top_hz` in `sound` at a frame; what lies 1 kHz above it is 140 dB down.
inline double below(const std::vector<float>& sound, std::size_t frame, double rate_hz,
                    double top_hz) {
  const double half_width = 0.5 * (146.0 - 7.95) / (14.36 * 1000.0 / rate_hz);
  const double stretch = 0.5 * rate_hz / (top_hz + 500.0);
  const auto reach = static_cast<std::ptrdiff_t>(half_width);
  double sum = 0.0;
  double weights = 0.0;
  for (std::ptrdiff_t i = -reach; i <= reach; ++i) {
    const std::ptrdiff_t at = static_cast<std::ptrdiff_t>(frame) + i;
    const double weight = kernel(static_cast<double>(i), stretch, half_width);
    weights += weight;
    if (at >= 0 && at < std::ssize(sound))
      sum += weight * static_cast<double>(sound[static_cast<std::size_t>(at)]);
  }
  return sum / weights;
}

inline std::vector<double> resample(const std::vector<float>& track, const TimeMap& map,
                                    double in_hz, double out_hz, double from_s, int frames,
                                    double stretch) {
  std::vector<double> out(static_cast<std::size_t>(frames));
  const double end_s = map.spans().back().line_to_s - 1e-11;  // a span ends before its end
  for (int n = 0; n < frames; ++n) {
    const double line_s = from_s + n / out_hz;
    const auto track_s = map.to_track(line_s);
    if (track_s && line_s < end_s)
      out[static_cast<std::size_t>(n)] =
          value_at(track, *track_s * in_hz, stretch, pass_share(in_hz, out_hz));
  }
  return out;
}

}  // namespace kilter::reference
