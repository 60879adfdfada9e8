#include "windowed_sinc.h"

#include <cmath>

#include "kilter/signal/fft.h"
#include "sinc.h"

namespace kilter {

double kaiser_taps(double attenuation_db, double width) {
  return (attenuation_db - 7.95) / (14.36 * width);
}

WindowedSinc::WindowedSinc(std::int64_t taps, double stretch, double attenuation_db)
    : taps_(taps), stretch_(stretch), beta_(kaiser_beta(attenuation_db)), top_(bessel_i0(beta_)) {}

double WindowedSinc::window(double x) const {
  return std::abs(x) > 1.0 ? 0.0 : bessel_i0(beta_ * std::sqrt(1.0 - x * x)) / top_;
}

std::vector<double> WindowedSinc::weights_at(double fraction) const {
  std::vector<double> weights;
  weights.reserve(static_cast<std::size_t>(taps_));
  double sum = 0.0;
  for (std::int64_t tap = 0; tap < taps_; ++tap) {
    const double distance = static_cast<double>(tap - (taps_ / 2 - 1)) - fraction;
    weights.push_back(sinc(distance / stretch_) *
                      window(2.0 * distance / static_cast<double>(taps_)));
    sum += weights.back();
  }
  for (double& weight : weights) weight /= sum;
  return weights;
}

}  // namespace kilter
