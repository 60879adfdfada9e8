#include "wave.h"

#include <algorithm>
#include <cmath>

#include "columns.h"
#include "kilter/base/decibels.h"

namespace kilter::report {
namespace {

constexpr int kNothing = -1;  // no recording here
constexpr int kHighest = 48;

unsigned char level_byte(double power) {
  if (power <= 0.0) return 0;
  const double half_db = 2.0 * (power_to_db(power) + 100.0);
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

/// What falls into a column.
struct ColumnSum {
  double peak{0.0};
  double power{0.0};
  int cells{0};
};

std::vector<ColumnSum> columns_of(const Envelope& envelope, const std::vector<Span>& spans,
                                  const Axis& axis, int columns) {
  std::vector<ColumnSum> sums(static_cast<std::size_t>(columns));
  for_cells(Cells{envelope.cell_s, envelope.cells.size()}, spans, axis, columns,
            [&](std::size_t column, std::size_t i) {
              const EnvelopeCell& cell = envelope.cells[i];
              ColumnSum& sum = sums[column];
              sum.peak = std::max(sum.peak, static_cast<double>(cell.peak));
              sum.power += static_cast<double>(cell.power);
              ++sum.cells;
            });
  return sums;
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
  if (envelope.cells.empty()) return {};
  std::vector<int> peaks;
  std::vector<int> powers;
  for (const ColumnSum& sum : columns_of(envelope, spans, axis, columns)) {
    const bool holds = sum.cells > 0;
    peaks.push_back(holds ? height_of(level_byte(sum.peak * sum.peak)) : kNothing);
    powers.push_back(holds ? height_of(level_byte(sum.power / sum.cells)) : kNothing);
  }
  return {path_of(peaks), path_of(powers)};
}

}  // namespace kilter::report
