#include "doubled_sinc.h"

#include <cassert>
#include <cmath>
#include <utility>

#include "least_squares_delay.h"
#include "windowed_sinc.h"

namespace kilter {
namespace {

// The middles' filter: from the pass band's end to its mirror image, 20 to 28 kHz at 48 kHz, hence
// 57.7 taps for 146 dB, and 64 in whole vectors; 20 to 24.1 kHz at 44.1 kHz, 103.5 and 104. At the
// pass band's very end it is true to -135 dB, which there is a wrong level (2e-6 dB) and no
// distortion. What the 64 have over the 57.7 leaves room for the 0.2 % by which a span may press
// the sound together. Rounding to float, of weights and of sums, leaves -141 dB.
constexpr double kMiddleDb = 146.0;
std::int64_t middle_taps(const DoubledShape& shape) {
  return 8 *
         static_cast<std::int64_t>(std::ceil(kaiser_taps(kMiddleDb, 1.0 - shape.pass_share) / 8.0));
}

// The fine filter: 16 taps leave -150 dB of 20 kHz at 48 kHz, -137 dB of it at 44.1 kHz. Above,
// they leave images of up to -85 dB, which fold to above 20 kHz again where the rates are alike.
// Where they are not, what the middles' filter lets through counts, up to 28 kHz: 32 taps leave
// -145 dB.
constexpr double kMostFor16 = 20.0 / 22.05 + 1e-9;
std::int64_t fine_taps(const DoubledShape& shape) {
  return shape.image_share <= kMostFor16 ? 16 : 32;
}
// The error is the largest where the band ends: let it end beyond.
constexpr double kBandBeyond = 1.05;

}  // namespace

// A sine of 20 kHz at 44.1 kHz turns by a = pi * 0.907 / 8192 from a cell's middle to its end; the
// lines, laid so that they are as far off in the middle as at the ends, leave a^2 / 4: -150 dB.
DoubledSinc::DoubledSinc(const DoubledShape& shape) : fine_taps_(kilter::fine_taps(shape)) {
  assert(shape.pass_share < 1.0);
  const std::int64_t taps = middle_taps(shape);
  for (const double weight : WindowedSinc(taps, 1.0, kMiddleDb).weights_at(0.5))
    middle_.push_back(static_cast<float>(weight));

  const LeastSquaresDelay fine(fine_taps_, kBandBeyond * 0.5 * shape.image_share);
  constexpr std::int64_t kCells = std::int64_t{1} << kCellBits;
  const auto weights_at = [&](std::int64_t half_cells) {
    return fine.weights_at(std::ldexp(static_cast<double>(half_cells), -kCellBits));
  };
  rows_.reserve(static_cast<std::size_t>(kCells * 2 * fine_taps_));
  std::vector<double> from = weights_at(0);
  for (std::int64_t cell = 0; cell < kCells / 2; ++cell) {
    const std::vector<double> middle = weights_at(2 * cell + 1);
    std::vector<double> to = weights_at(2 * cell + 2);
    // Between a frame and a middle the outermost tap before the place lies on a middle.
    for (const std::size_t first : {1U, 0U})
      for (std::size_t tap = first; tap < middle.size(); tap += 2)
        rows_.push_back(static_cast<float>(0.5 * middle[tap] + 0.25 * (from[tap] + to[tap])));
    for (const std::size_t first : {1U, 0U})
      for (std::size_t tap = first; tap < middle.size(); tap += 2)
        rows_.push_back(static_cast<float>(to[tap] - from[tap]));
    from = std::move(to);
  }
  // Behind a middle frames and middles change places.
  const auto each = static_cast<std::size_t>(fine_taps_ / 2);
  for (std::size_t at = 0, half = rows_.size(); at < half; at += 2 * each)
    for (const std::size_t first : {at + each, at})
      for (std::size_t tap = 0; tap < each; ++tap) rows_.push_back(rows_[first + tap]);
}

}  // namespace kilter
