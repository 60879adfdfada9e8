#include "sinc_table.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <mutex>
#include <utility>
#include <vector>

#include "sinc.h"

namespace kilter {
namespace {

// Kaiser's length: a window for A dB needs (A - 7.95) / (14.36 * width) taps, the width of the
// transition in cycles per frame (J. F. Kaiser, "Nonrecursive digital filter design using the
// I0-sinh window function", Proc. IEEE ISCAS 1974). The transition reaches from the pass band's end
// to its mirror image: 20 to 28 kHz at 48 kHz, 1/6 of the rate, hence 57.7 taps for 146 dB, and 64
// in whole vectors; from 20 to 24.1 kHz at 44.1 kHz, 103.5 and 104. An output adds up the images of
// all bands: at half a frame and the pass band's very end, the worst place, to -135 dB, which there
// is a wrong level (2e-6 dB) and no distortion. What the 64 have over the 57.7 leaves room for the
// 0.2 % by which a span may press the sound together without a table of its own. Rounding to float,
// of weights and of sums, leaves -141 dB.
constexpr double kAttenuationDb = 146.0;
double taps_needed(const SincShape& shape) {
  const double width = (1.0 - shape.pass_share) / shape.stretch;
  return (kAttenuationDb - 7.95) / (14.36 * width);
}

// Cells: at the half rate a sine turns by at most a = pi / 2048 from a cell's middle to its end.
// The parabola through both ends and the middle leaves a^3 * 0.064 of it: -193 dB. Its bend adds
// a^2 / 2, -119 dB, so that a fifth of the taps, the middle ones, is enough: what the others would
// add is -134 dB at worst, in the transition, and having no jump where cells meet, it does not
// spread from there into the pass band. Values and slopes have all taps: theirs would.
constexpr int kCellBits = 10;
constexpr std::int64_t kBentShare = 5;

// Up to here clocks drift; beyond it the sound is pressed together and the cut-off must follow.
constexpr double kLargestDrift = 1.002;
// So many filters per octave of pressing are enough: the cut-off lies up to 2.2 % lower than it
// need.
constexpr double kStretchesPerOctave = 32.0;
// A hundredfold reduction is the largest that rates from 8 kHz to 768 kHz and sense can ask for.
constexpr double kLargestStretch = 128.0;

constexpr double kHighestHeardHz = 20000.0;

class KaiserWindow {
 public:
  explicit KaiserWindow(double attenuation_db)
      : beta_(kaiser_beta(attenuation_db)), top_(bessel_i0(beta_)) {}
  double operator()(double x) const {
    return std::abs(x) > 1.0 ? 0.0 : bessel_i0(beta_ * std::sqrt(1.0 - x * x)) / top_;
  }

 private:
  double beta_;
  double top_;
};

/// All taps for a place `fraction` of a frame after tap half - 1; they add up to 1.
std::vector<double> weights_at(double fraction, std::int64_t taps, double stretch,
                               const KaiserWindow& window) {
  std::vector<double> weights;
  double sum = 0.0;
  for (std::int64_t tap = 0; tap < taps; ++tap) {
    const double distance = static_cast<double>(tap - (taps / 2 - 1)) - fraction;
    weights.push_back(sinc(distance / stretch) *
                      window(2.0 * distance / static_cast<double>(taps)));
    sum += weights.back();
  }
  for (double& weight : weights) weight /= sum;
  return weights;
}

}  // namespace

SincShape sinc_shape(SampleRate in_rate, SampleRate out_rate, double frames_per_out) {
  const double nominal = in_rate.hz / out_rate.hz;
  double stretch = std::max(nominal, 1.0);
  if (frames_per_out > nominal * kLargestDrift && frames_per_out > 1.0)
    stretch =
        std::exp2(std::ceil(std::log2(frames_per_out) * kStretchesPerOctave) / kStretchesPerOctave);
  const double lower_half_hz = 0.5 * std::min(in_rate.hz, out_rate.hz);
  return {std::min(stretch, kLargestStretch),
          std::clamp(kHighestHeardHz / lower_half_hz, 5.0 / 6.0, kHighestHeardHz / 22050.0)};
}

SincTable::SincTable(const SincShape& shape)
    : taps_(8 * static_cast<std::int64_t>(std::ceil(taps_needed(shape) / 8.0))),
      bent_taps_(taps_ - (taps_ - taps_ / kBentShare) / 16 * 16),
      cell_bits_(kCellBits - static_cast<int>(std::log2(shape.stretch))) {
  assert(shape.stretch >= 1.0 && shape.stretch <= kLargestStretch && shape.pass_share < 1.0);
  const KaiserWindow window(kAttenuationDb);
  const std::int64_t cells = std::int64_t{1} << cell_bits_;
  const auto weights_of_place = [&](std::int64_t half_cells) {
    const double fraction = std::ldexp(static_cast<double>(half_cells), -cell_bits_ - 1);
    return weights_at(fraction, taps_, shape.stretch, window);
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

std::shared_ptr<const SincTable> SincTable::shared(const SincShape& shape) {
  struct Known {
    SincShape shape;
    std::weak_ptr<const SincTable> table;
  };
  static std::mutex mutex;
  static std::vector<Known> known;
  const std::lock_guard lock(mutex);
  std::erase_if(known, [](const Known& each) { return each.table.expired(); });
  for (const Known& each : known)
    if (each.shape == shape)
      if (auto table = each.table.lock()) return table;
  auto table = std::make_shared<const SincTable>(shape);
  known.push_back({shape, table});
  return table;
}

}  // namespace kilter
