#include "kilter/signal/fft.h"

#include <fftw3.h>

#include <cassert>
#include <cmath>
#include <mutex>
#include <numbers>

namespace kilter {
namespace {

struct PlanDestroy {
  void operator()(fftwf_plan plan) const noexcept { fftwf_destroy_plan(plan); }
};
using FftwPlan = std::unique_ptr<std::remove_pointer_t<fftwf_plan>, PlanDestroy>;

/// Only execution is thread-safe in FFTW.
std::mutex& planner_mutex() {
  static std::mutex mutex;
  return mutex;
}

fftwf_complex* as_fftw(std::complex<float>* p) { return reinterpret_cast<fftwf_complex*>(p); }

}  // namespace

struct RealFft::Plans {
  FftwPlan forward;
  FftwPlan inverse;
};

RealFft::RealFft(int size) : size_(size), plans_(std::make_unique<Plans>()) {
  assert(size >= 2 && size % 2 == 0);
  FftVector<float> real(static_cast<std::size_t>(size));
  FftVector<std::complex<float>> bins(static_cast<std::size_t>(size / 2 + 1));
  const std::lock_guard lock(planner_mutex());
  plans_->forward.reset(
      fftwf_plan_dft_r2c_1d(size, real.data(), as_fftw(bins.data()), FFTW_ESTIMATE));
  plans_->inverse.reset(
      fftwf_plan_dft_c2r_1d(size, as_fftw(bins.data()), real.data(), FFTW_ESTIMATE));
}

RealFft::~RealFft() {
  const std::lock_guard lock(planner_mutex());
  plans_.reset();
}

void RealFft::forward(const FftVector<float>& in, FftVector<std::complex<float>>& out) const {
  assert(std::ssize(in) == size() && std::ssize(out) == bins());
  // FFTW keeps the input of an out-of-place real transform, whatever its signature says.
  fftwf_execute_dft_r2c(plans_->forward.get(), const_cast<float*>(in.data()), as_fftw(out.data()));
}

void RealFft::inverse(FftVector<std::complex<float>>& in, FftVector<float>& out) const {
  assert(std::ssize(in) == bins() && std::ssize(out) == size());
  fftwf_execute_dft_c2r(plans_->inverse.get(), as_fftw(in.data()), out.data());
}

std::vector<float> hann_window(int size) {
  std::vector<float> window(static_cast<std::size_t>(size));
  for (int i = 0; i < size; ++i)
    window[static_cast<std::size_t>(i)] =
        static_cast<float>(0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * i / size));
  return window;
}

double bessel_i0(double x) {
  const double quarter_square = 0.25 * x * x;
  double term = 1.0;
  double sum = 1.0;
  for (int k = 1; term > 1e-17 * sum; ++k) {
    term *= quarter_square / (static_cast<double>(k) * k);
    sum += term;
  }
  return sum;
}

double kaiser(double x, double beta) {
  if (std::abs(x) > 1.0) return 0.0;
  return bessel_i0(beta * std::sqrt(1.0 - x * x)) / bessel_i0(beta);
}

}  // namespace kilter
