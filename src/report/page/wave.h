// Envelopes as bytes and as outlines.
#pragma once

#include <string>
#include <vector>

#include "axis.h"
#include "kilter/base/time_map.h"
#include "kilter/signal/envelope.h"

namespace kilter::report {

/// Levels of an envelope, a byte per cell: 0 for nothing but zeros, else 1 for -100 dBFS and below,
/// and one more for each half decibel.
struct WaveBytes {
  std::string peaks;
  std::string powers;
};
WaveBytes wave_bytes(const Envelope& envelope);

/// Outlines in the axis' units, closed, for every run of sound: per column the highest of the peaks
/// and the mean of the powers; empty for no cells. Levels from -60
/// to 0 dBFS take 48 of 100 units on either side of the middle.
struct WavePaths {
  std::string peaks;
  std::string powers;
};
WavePaths wave_paths(const Envelope& envelope, const std::vector<Span>& spans, const Axis& axis,
                     int columns);

}  // namespace kilter::report
