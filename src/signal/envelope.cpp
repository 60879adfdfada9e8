#include "kilter/signal/envelope.h"

#include <algorithm>

namespace kilter {

void EnvelopeCollector::add(float peak, double power) {
  if (in_last_ == stretches_in_cell_ || cells_.empty()) {
    if (cells_.size() == most_cells_) join_neighbours();
    cells_.push_back({});
    in_last_ = 0;
    last_power_ = 0.0;
  }
  EnvelopeCell& cell = cells_.back();
  ++in_last_;
  last_power_ += power;
  cell.peak = std::max(cell.peak, peak);
  cell.power = static_cast<float>(last_power_ / static_cast<double>(in_last_));
}

void EnvelopeCollector::join_neighbours() {
  for (std::size_t i = 0; 2 * i + 1 < cells_.size(); ++i) {
    const EnvelopeCell& left = cells_[2 * i];
    const EnvelopeCell& right = cells_[2 * i + 1];
    cells_[i] = {std::max(left.peak, right.peak), 0.5F * (left.power + right.power)};
  }
  cells_.resize(cells_.size() / 2);
  stretches_in_cell_ *= 2;
}

Envelope EnvelopeCollector::envelope(double stretch_s) const {
  return {stretch_s * static_cast<double>(stretches_in_cell_), cells_};
}

Envelope joined(const std::vector<Envelope>& channels) {
  Envelope all;
  for (const Envelope& channel : channels) {
    all.cell_s = channel.cell_s;
    all.cells.resize(std::max(all.cells.size(), channel.cells.size()));
  }
  for (std::size_t i = 0; i < all.cells.size(); ++i) {
    double power = 0.0;
    int count = 0;
    for (const Envelope& channel : channels) {
      if (i >= channel.cells.size()) continue;
      all.cells[i].peak = std::max(all.cells[i].peak, channel.cells[i].peak);
      power += static_cast<double>(channel.cells[i].power);
      ++count;
    }
    all.cells[i].power = static_cast<float>(power / count);
  }
  return all;
}

}  // namespace kilter
