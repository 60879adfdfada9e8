#include "wave.h"

#include <algorithm>
#include <cmath>

namespace kilter::report {
namespace {

constexpr int kNothing = -1;  // no recording here
constexpr int kHighest = 48;

unsigned char level_byte(double power) {
  if (power <= 0.0) return 0;
  const double half_db = 2.0 * (10.0 * std::log10(power) + 100.0);
  return static_cast<unsigned char>(1.0 + std::clamp(std::round(half_db), 0.0, 254.0));
}

double squared(float value) { return static_cast<double>(value) * static_cast<double>(value); }

/// Half the height of the outline.
int height_of(unsigned char level) {
  constexpr double kLowest_db = -60.0;
  const double db = (level - 1) / 2.0 - 100.0;
  const double share = std::clamp((db - kLowest_db) / -kLowest_db, 0.0, 1.0);
  return level == 0 ? 0 : std::max(1, static_cast<int>(std::lround(kHighest * share)));
}

/// The highest of the levels that fall into each column, as heights.
std::vector<int> heights_of(const std::string& levels, double cell_s,
                            const std::vector<Span>& spans, const Axis& axis, int columns) {
  std::vector<int> heights(static_cast<std::size_t>(columns), kNothing);
  const double column_s = (axis.to_s - axis.from_s) / columns;
  const auto cells = static_cast<double>(levels.size());
  for (const Span& span : spans) {
    const double from = (span.line_from_s - axis.from_s) / column_s;
    const double to = (span.line_to_s - axis.from_s) / column_s;
    const int end = std::min(columns, static_cast<int>(std::ceil(to)));
    for (int column = std::max(0, static_cast<int>(from)); column < end; ++column) {
      const auto track_s = [&](double at_column) {
        return span.from_s + (std::clamp(at_column, from, to) - from) * column_s / span.rate();
      };
      const double first = std::floor(track_s(column) / cell_s);
      const double last = std::ceil(track_s(column + 1.0) / cell_s);
      int& height = heights[static_cast<std::size_t>(column)];
      for (double cell = std::max(0.0, first); cell < std::min(cells, std::max(last, first + 1.0));
           cell += 1.0)
        height = std::max(
            height, height_of(static_cast<unsigned char>(levels[static_cast<std::size_t>(cell)])));
    }
  }
  return heights;
}

/// Round the columns from `first` up to `end`.
std::string outline(const std::vector<int>& heights, std::size_t first, std::size_t end,
                    int units) {
  const std::string along = 'h' + std::to_string(units);
  std::string path = 'M' + std::to_string(static_cast<int>(first) * units) + ' ' +
                     std::to_string(50 - heights[first]) + along;
  for (std::size_t i = first + 1; i < end; ++i) {
    if (heights[i] != heights[i - 1]) path += 'V' + std::to_string(50 - heights[i]);
    path += along;
  }
  path += 'V' + std::to_string(50 + heights[end - 1]);
  const std::string back = "h-" + std::to_string(units);
  for (std::size_t i = end; i-- > first;) {
    if (i + 1 < end && heights[i] != heights[i + 1]) path += 'V' + std::to_string(50 + heights[i]);
    path += back;
  }
  return path + 'z';
}

std::string path_of(const std::vector<int>& heights) {
  const int units = static_cast<int>(kAxisUnits) / static_cast<int>(heights.size());
  std::string path;
  for (std::size_t i = 0; i < heights.size();) {
    std::size_t end = i;
    while (end < heights.size() && heights[end] != kNothing) ++end;
    if (end > i) path += outline(heights, i, end, units);
    i = std::max(end, i + 1);
  }
  return path;
}

}  // namespace

WaveBytes wave_bytes(const Envelope& envelope) {
  WaveBytes bytes;
  for (const EnvelopeCell& cell : envelope.cells) {
    bytes.peaks += static_cast<char>(level_byte(squared(cell.peak)));
    bytes.powers += static_cast<char>(level_byte(static_cast<double>(cell.power)));
  }
  return bytes;
}

WavePaths wave_paths(const Envelope& envelope, const std::vector<Span>& spans, const Axis& axis,
                     int columns) {
  const WaveBytes bytes = wave_bytes(envelope);
  if (bytes.peaks.empty()) return {};
  return {path_of(heights_of(bytes.peaks, envelope.cell_s, spans, axis, columns)),
          path_of(heights_of(bytes.powers, envelope.cell_s, spans, axis, columns))};
}

}  // namespace kilter::report
