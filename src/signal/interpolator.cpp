#include "interpolator.h"

#include <algorithm>
#include <cmath>
#include <mutex>
#include <utility>
#include <vector>

#include "doubled_sinc.h"
#include "fir_kernels.h"
#include "sinc_table.h"

namespace kilter {
namespace {

// Up to here clocks drift; beyond it the sound is pressed together and the cut-off must follow.
constexpr double kLargestDrift = 1.002;
// So many filters per octave of pressing are enough: the cut-off lies up to 2.2 % lower than it
// need.
constexpr double kStretchesPerOctave = 32.0;
// A hundredfold reduction is the largest that rates from 8 kHz to 768 kHz and sense can ask for.
constexpr double kLargestStretch = 128.0;

constexpr double kHighestHeardHz = 20000.0;

template <typename Filter>
class InterpolatorBy : public Interpolator {
 public:
  template <typename Shape>
  explicit InterpolatorBy(const Shape& shape) : filter_(shape) {}
  std::int64_t half() const override { return filter_.half(); }
  void interpolate(const float* input, FramePosition at, const FramePosition& step,
                   std::span<float> out) const override {
    kilter::interpolate(filter_, input, at, step, out);
  }

 private:
  Filter filter_;
};

std::shared_ptr<const Interpolator> make(const InterpolatorShape& shape) {
  if (shape.stretch > 1.0)
    return std::make_shared<const InterpolatorBy<SincTable>>(
        SincShape{shape.stretch, shape.pass_share});
  // What folds where the rates are alike folds to above the pass band; elsewhere it may land in it.
  const double image_share = shape.rates_differ ? 2.0 - shape.pass_share : shape.pass_share;
  return std::make_shared<const InterpolatorBy<DoubledSinc>>(
      DoubledShape{shape.pass_share, image_share});
}

}  // namespace

InterpolatorShape interpolator_shape(SampleRate in_rate, SampleRate out_rate,
                                     double frames_per_out) {
  const double nominal = in_rate.hz / out_rate.hz;
  double stretch = std::max(nominal, 1.0);
  if (frames_per_out > nominal * kLargestDrift && frames_per_out > 1.0)
    stretch =
        std::exp2(std::ceil(std::log2(frames_per_out) * kStretchesPerOctave) / kStretchesPerOctave);
  const double lower_half_hz = 0.5 * std::min(in_rate.hz, out_rate.hz);
  const bool alike = std::abs(frames_per_out - 1.0) < kLargestDrift - 1.0;
  return {std::min(stretch, kLargestStretch),
          std::clamp(kHighestHeardHz / lower_half_hz, 5.0 / 6.0, kHighestHeardHz / 22050.0),
          !alike};
}

std::shared_ptr<const Interpolator> Interpolator::shared(const InterpolatorShape& shape) {
  struct Known {
    InterpolatorShape shape;
    std::weak_ptr<const Interpolator> interpolator;
  };
  static std::mutex mutex;
  static std::vector<Known> known;
  const std::lock_guard lock(mutex);
  std::erase_if(known, [](const Known& each) { return each.interpolator.expired(); });
  for (const Known& each : known)
    if (each.shape == shape)
      if (auto interpolator = each.interpolator.lock()) return interpolator;
  auto interpolator = make(shape);
  known.push_back({shape, interpolator});
  return interpolator;
}

}  // namespace kilter
