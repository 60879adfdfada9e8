#include "sinc_table.h"

#include <cassert>
#include <cmath>
#include <utility>
#include <vector>

#include "windowed_sinc.h"

namespace kilter {
namespace {

// As the middles' filter of DoubledSinc, whose words hold here too, stretched: 20 to 28 kHz on the
// way from 96 to 48 kHz, 115.4 taps for 146 dB, and 120 in whole vectors.
constexpr double kAttenuationDb = 146.0;
std::int64_t taps_needed(const SincShape& shape) {
  const double taps = kaiser_taps(kAttenuationDb, (1.0 - shape.pass_share) / shape.stretch);
  return 8 * static_cast<std::int64_t>(std::ceil(taps / 8.0));
}

// Cells: at the half rate a sine turns by at most a = pi / 2048 from a cell's middle to its end.
// The parabola through both ends and the middle leaves a^3 * 0.064 of it: -193 dB. Its bend adds
// a^2 / 2, -119 dB, so that a fifth of the taps, the middle ones, is enough: what the others would
// add is -134 dB at worst, in the transition, and having no jump where cells meet, it does not
// spread from there into the pass band. Values and slopes have all taps: theirs would.
constexpr int kCellBits = 10;
constexpr std::int64_t kBentShare = 5;

[[maybe_unused]] constexpr double kLargestStretch = 128.0;  // only assert asks

}  // namespace

SincTable::SincTable(const SincShape& shape)
    : taps_(taps_needed(shape)),
      bent_taps_(taps_ - (taps_ - taps_ / kBentShare) / 16 * 16),
      cell_bits_(kCellBits - static_cast<int>(std::log2(shape.stretch))) {
  assert(shape.stretch >= 1.0 && shape.stretch <= kLargestStretch && shape.pass_share < 1.0);
  const WindowedSinc sinc(taps_, shape.stretch, kAttenuationDb);
  const std::int64_t cells = std::int64_t{1} << cell_bits_;
  const auto weights_of_place = [&](std::int64_t half_cells) {
    const double fraction = std::ldexp(static_cast<double>(half_cells), -cell_bits_ - 1);
    return sinc.weights_at(fraction);
  };
  const auto unbent = static_cast<std::size_t>((taps_ - bent_taps_) / 2);
  rows_.reserve(static_cast<std::size_t>(cells * (2 * taps_ + bent_taps_)));
  std::vector<double> from = weights_of_place(0);
  for (std::int64_t cell = 0; cell < cells; ++cell) {
    const std::vector<double> middle = weights_of_place(2 * cell + 1);
    std::vector<double> to = weights_of_place(2 * cell + 2);
    for (const double value : middle) rows_.push_back(static_cast<float>(value));
    for (std::size_t tap = 0; tap < middle.size(); ++tap)
      rows_.push_back(static_cast<float>(to[tap] - from[tap]));
    for (std::size_t tap = unbent; tap < middle.size() - unbent; ++tap)
      rows_.push_back(static_cast<float>(2.0 * (to[tap] + from[tap]) - 4.0 * middle[tap]));
    from = std::move(to);
  }
}

}  // namespace kilter
