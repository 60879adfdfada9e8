// How loud a recording is along its length, in as many cells as a drawing needs.
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

namespace kilter {

struct EnvelopeCell {
  float peak{0.0F};   ///< largest magnitude, full scale being 1
  float power{0.0F};  ///< mean square, without the mean
};

struct Envelope {
  double cell_s{0.0};  ///< length of each cell; the last one may stand for less
  std::vector<EnvelopeCell> cells;
};

/// Takes in a recording of any length, stretch by stretch, in bounded memory: where its cells are
/// used up, each two neighbours become one, and cells are twice as long from then on. Memory: 8
/// bytes for each of `most_cells` (an even number, at least 2).
class EnvelopeCollector {
 public:
  explicit EnvelopeCollector(std::size_t most_cells = 16384) : most_cells_(most_cells) {}

  /// The next stretch; all are equally long.
  void add(float peak, double power);
  /// Of all that was added, where a stretch lasts `stretch_s`.
  Envelope envelope(double stretch_s) const;

 private:
  void join_neighbours();

  std::size_t most_cells_;
  std::int64_t stretches_in_cell_{1};
  std::int64_t in_last_{0};  // stretches in the last cell
  double last_power_{0.0};   // the sum of their powers
  std::vector<EnvelopeCell> cells_;
};

/// Several channels heard together: the largest peak, the mean of the powers. All of one file, or
/// none; cells that only some have are taken from those.
Envelope joined(const std::vector<Envelope>& channels);

}  // namespace kilter
