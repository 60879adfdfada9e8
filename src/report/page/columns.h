// What of a recording falls into each column of a drawing.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

#include "axis.h"
#include "kilter/base/time_map.h"

namespace kilter::report {

/// A recording in equal cells, from its start on.
struct Cells {
  double cell_s{0.0};
  std::size_t count{0};
};

/// Calls `take(column, cell)` for all cells that lie in a column, in order; `spans` tell where the
/// recording lies on the axis. A cell may lie in more than one column.
template <typename Take>
void for_cells(const Cells& cells, const std::vector<Span>& spans, const Axis& axis, int columns,
               Take&& take) {
  const double column_s = (axis.to_s - axis.from_s) / columns;
  const auto count = static_cast<std::ptrdiff_t>(cells.count);
  for (const Span& span : spans) {
    const double from = (span.line_from_s - axis.from_s) / column_s;
    const double to = (span.line_to_s - axis.from_s) / column_s;
    const auto track_s = [&](double at_column) {
      return span.from_s + (std::clamp(at_column, from, to) - from) * column_s / span.rate();
    };
    const int end = std::min(columns, static_cast<int>(std::ceil(to)));
    for (int column = std::max(0, static_cast<int>(from)); column < end; ++column) {
      const auto first =
          std::max(std::ptrdiff_t{0}, static_cast<std::ptrdiff_t>(track_s(column) / cells.cell_s));
      const auto last = std::max(
          first + 1, static_cast<std::ptrdiff_t>(std::ceil(track_s(column + 1.0) / cells.cell_s)));
      for (auto i = first; i < std::min(count, last); ++i)
        take(static_cast<std::size_t>(column), static_cast<std::size_t>(i));
    }
  }
}

}  // namespace kilter::report
