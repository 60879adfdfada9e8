#include "kilter/signal/fft.h"

#include <fftw3.h>

#include <cassert>
#include <cmath>
#include <mutex>
#include <numbers>

#include "kilter/base/wide_loops.h"

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

fftwf_complex* as_fftw(void* p) { return static_cast<fftwf_complex*>(p); }

/// Four complex numbers side by side.
[[gnu::always_inline]] inline void load_four(const std::complex<float>* from, Float8& to) {
  load(reinterpret_cast<const float*>(from), to);
}
[[gnu::always_inline]] inline void store_four(const Float8& from, std::complex<float>* to) {
  store(from, reinterpret_cast<float*>(to));
}
[[gnu::always_inline]] inline void reverse_four(Float8& z) {
  z = __builtin_shufflevector(z, z, 6, 7, 4, 5, 2, 3, 0, 1);
}

/// For every pair of bins, z[k] and z[m - k] of m: half the sum s and half the difference d of the
/// one and the other's conjugate become s + t d and the conjugate of s - t d, times `scale`. `t` is
/// `turns[k]`, or its conjugate when `conjugate` is -1. Bin 0 and the middle one are left alone.
KILTER_WIDE void mix_pairs(std::complex<float>* z, std::size_t m, const std::complex<float>* turns,
                           float conjugate, float scale) {
  const Float8 conj{1.0F, -1.0F, 1.0F, -1.0F, 1.0F, -1.0F, 1.0F, -1.0F};
  const Float8 half = Float8{} + 0.5F * scale;
  std::size_t k = 1;
  for (; 2 * k + 6 < m; k += 4) {  // the last of the four still lies below its partner
    Float8 low{}, high{}, t{};
    load_four(z + k, low);
    load_four(z + m - k - 3, high);
    load_four(turns + k, t);
    reverse_four(high);
    high *= conj;
    const Float8 sum = half * (low + high);
    const Float8 difference = half * (low - high);
    const Float8 crossed = __builtin_shufflevector(difference, difference, 1, 0, 3, 2, 5, 4, 7, 6);
    const Float8 re = __builtin_shufflevector(t, t, 0, 0, 2, 2, 4, 4, 6, 6);
    const Float8 im = __builtin_shufflevector(t, t, 1, 1, 3, 3, 5, 5, 7, 7) * conj * -conjugate;
    const Float8 turned = re * difference + im * crossed;
    Float8 mirrored = (sum - turned) * conj;
    reverse_four(mirrored);
    store_four(sum + turned, z + k);
    store_four(mirrored, z + m - k - 3);
  }
  for (; 2 * k < m; ++k) {
    const std::complex<float> high = std::conj(z[m - k]);
    const std::complex<float> sum = 0.5F * scale * (z[k] + high);
    const std::complex<float> difference = 0.5F * scale * (z[k] - high);
    const float re = turns[k].real();
    const float im = conjugate * turns[k].imag();
    const std::complex<float> turned{re * difference.real() - im * difference.imag(),
                                     re * difference.imag() + im * difference.real()};
    z[k] = sum + turned;
    z[m - k] = std::conj(sum - turned);
  }
}

}  // namespace

struct RealFft::Plans {
  FftwPlan forward;
  FftwPlan inverse;
};

// Even values as real parts and odd ones as imaginary parts make a complex transform of half the
// size, from which the real one's bins follow pair by pair. The library's own real transforms take
// up to half as long again.
RealFft::RealFft(int size) : size_(size), plans_(std::make_unique<Plans>()) {
  assert(size >= 2 && size % 2 == 0);
  const int half = size / 2;
  for (int k = 0; 2 * k <= half; ++k) {
    const double angle = 2.0 * std::numbers::pi * k / size;
    turns_.emplace_back(static_cast<float>(-std::sin(angle)),
                        static_cast<float>(-std::cos(angle)));  // -i e^(-i angle)
  }
  FftVector<float> real(static_cast<std::size_t>(size));
  FftVector<std::complex<float>> bins(static_cast<std::size_t>(half + 1));
  const std::lock_guard lock(planner_mutex());
  plans_->forward.reset(fftwf_plan_dft_1d(half, as_fftw(real.data()), as_fftw(bins.data()),
                                          FFTW_FORWARD, FFTW_ESTIMATE));
  plans_->inverse.reset(fftwf_plan_dft_1d(half, as_fftw(bins.data()), as_fftw(real.data()),
                                          FFTW_BACKWARD, FFTW_ESTIMATE));
}

RealFft::~RealFft() {
  const std::lock_guard lock(planner_mutex());
  plans_.reset();
}

void RealFft::forward(const FftVector<float>& in, FftVector<std::complex<float>>& out) const {
  assert(std::ssize(in) == size() && std::ssize(out) == bins());
  const auto half = static_cast<std::size_t>(size_ / 2);
  // FFTW keeps the input of a transform that is not in place, whatever its signature says.
  fftwf_execute_dft(plans_->forward.get(), as_fftw(const_cast<float*>(in.data())),
                    as_fftw(out.data()));
  const std::complex<float> first = out[0];
  mix_pairs(out.data(), half, turns_.data(), 1.0F, 1.0F);
  if (half % 2 == 0) out[half / 2] = std::conj(out[half / 2]);
  out[0] = first.real() + first.imag();
  out[half] = first.real() - first.imag();
}

void RealFft::inverse(FftVector<std::complex<float>>& in, FftVector<float>& out) const {
  assert(std::ssize(in) == bins() && std::ssize(out) == size());
  const auto half = static_cast<std::size_t>(size_ / 2);
  const float first = in[0].real();
  const float last = in[half].real();
  mix_pairs(in.data(), half, turns_.data(), -1.0F, 2.0F);
  if (half % 2 == 0) in[half / 2] = 2.0F * std::conj(in[half / 2]);
  in[0] = {first + last, first - last};
  fftwf_execute_dft(plans_->inverse.get(), as_fftw(in.data()), as_fftw(out.data()));
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
