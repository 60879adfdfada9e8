#include "wide_bands.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>

#include "kilter/base/wide_loops.h"

namespace kilter::sync {
namespace {

constexpr std::size_t kTurnBlock = 64;

/// Phasors by rotation from one to the next: a sine each would cost most of the work.
struct Phasor {
  double re{1.0};
  double im{0.0};
  void turn_by(const Phasor& step) {
    const double turned = re * step.re - im * step.im;
    im = re * step.im + im * step.re;
    re = turned;
  }
};

Phasor phasor(double angle) { return {std::cos(angle), std::sin(angle)}; }

}  // namespace

KILTER_WIDE void multiply(const float* a, std::span<const float> b, std::span<float> out) {
  const float* const x = b.data();
  float* const y = out.data();
  for (std::size_t i = 0; i < out.size(); ++i) y[i] = a[i] * x[i];
}

KILTER_WIDE double window_frame(const float* frame, std::span<const float> window,
                                std::span<float> out) {
  assert(out.size() % 8 == 0);
  Float8 sums{};
  Float8 x{}, w{};
  for (std::size_t i = 0; i < out.size(); i += 8) {
    load(frame + i, x);
    load(&window[i], w);
    sums += x * x;
    store(x * w, &out[i]);
  }
  double sum = 0.0;
  for (int lane = 0; lane < 8; ++lane) sum += static_cast<double>(sums[lane]);
  return sum;
}

KILTER_WIDE double sum_of_squares(std::span<const float> values) {
  Float8 sums{};
  std::size_t i = 0;
  for (; i + 8 <= values.size(); i += 8) {
    Float8 x{};
    load(&values[i], x);
    sums += x * x;
  }
  double sum = 0.0;
  for (int lane = 0; lane < 8; ++lane) sum += static_cast<double>(sums[lane]);
  for (; i < values.size(); ++i) sum += static_cast<double>(values[i] * values[i]);
  return sum;
}

KILTER_WIDE void split(const std::complex<float>* values, const Split& out) {
  const auto* const x = reinterpret_cast<const float*>(values);
  float* const re = out.re.data();
  float* const im = out.im.data();
  const std::size_t count = out.re.size();
  for (std::size_t i = 0; i < count; ++i) {
    re[i] = x[2 * i];
    im[i] = x[2 * i + 1];
  }
}

KILTER_WIDE void turn(const ConstSplit& values, double first, double step, const Split& out) {
  std::array<float, kTurnBlock> fine_re{};
  std::array<float, kTurnBlock> fine_im{};
  std::array<float, kTurnBlock> turned_re{};  // the compiler knows that these are nobody else's
  std::array<float, kTurnBlock> turned_im{};
  const Phasor by = phasor(step);
  Phasor fine;
  for (std::size_t i = 0; i < kTurnBlock; ++i, fine.turn_by(by)) {
    fine_re[i] = static_cast<float>(fine.re);
    fine_im[i] = static_cast<float>(fine.im);
  }
  Phasor coarse = phasor(first);
  for (std::size_t from = 0; from < out.re.size(); from += kTurnBlock, coarse.turn_by(fine)) {
    const std::size_t count = std::min(kTurnBlock, out.re.size() - from);
    const auto cr = static_cast<float>(coarse.re);
    const auto ci = static_cast<float>(coarse.im);
    const float* const x = values.re.data() + from;
    const float* const y = values.im.data() + from;
    for (std::size_t i = 0; i < count; ++i) {
      const float c = cr * fine_re[i] - ci * fine_im[i];
      const float s = cr * fine_im[i] + ci * fine_re[i];
      turned_re[i] = x[i] * c - y[i] * s;
      turned_im[i] = x[i] * s + y[i] * c;
    }
    std::copy_n(turned_re.begin(), count, out.re.begin() + static_cast<std::ptrdiff_t>(from));
    std::copy_n(turned_im.begin(), count, out.im.begin() + static_cast<std::ptrdiff_t>(from));
  }
}

KILTER_WIDE void add_cross(const ConstSplit& a, const ConstSplit& b, const Split& sum) {
  const float* const ar = a.re.data();
  const float* const ai = a.im.data();
  const float* const br = b.re.data();
  const float* const bi = b.im.data();
  float* const re = sum.re.data();
  float* const im = sum.im.data();
  const std::size_t count = sum.re.size();
  for (std::size_t i = 0; i < count; ++i) {
    re[i] += ar[i] * br[i] + ai[i] * bi[i];
    im[i] += ar[i] * bi[i] - ai[i] * br[i];
  }
}

KILTER_WIDE void add_crosses(std::span<const ConstSplit> a, std::span<const ConstSplit> b,
                             std::size_t from, std::size_t to, const Split& sum) {
  const std::size_t frames = a.size();
  Float8 re{}, im{}, ar{}, ai{}, br{}, bi{};
  std::size_t i = from;
  for (; i + 8 <= to; i += 8) {
    load(&sum.re[i], re);
    load(&sum.im[i], im);
    for (std::size_t f = 0; f < frames; ++f) {
      load(&a[f].re[i], ar);
      load(&a[f].im[i], ai);
      load(&b[f].re[i], br);
      load(&b[f].im[i], bi);
      re += ar * br + ai * bi;
      im += ar * bi - ai * br;
    }
    store(re, &sum.re[i]);
    store(im, &sum.im[i]);
  }
  for (; i < to; ++i)
    for (std::size_t f = 0; f < frames; ++f) {
      sum.re[i] += a[f].re[i] * b[f].re[i] + a[f].im[i] * b[f].im[i];
      sum.im[i] += a[f].re[i] * b[f].im[i] - a[f].im[i] * b[f].re[i];
    }
}

KILTER_WIDE void add_powers(std::span<const ConstSplit> a, std::size_t from, std::size_t to,
                            std::span<float> sum) {
  Float8 power{}, re{}, im{};
  std::size_t i = from;
  for (; i + 8 <= to; i += 8) {
    load(&sum[i], power);
    for (const ConstSplit& frame : a) {
      load(&frame.re[i], re);
      load(&frame.im[i], im);
      power += re * re + im * im;
    }
    store(power, &sum[i]);
  }
  for (; i < to; ++i)
    for (const ConstSplit& frame : a)
      sum[i] += frame.re[i] * frame.re[i] + frame.im[i] * frame.im[i];
}

KILTER_WIDE void add_product(const ConstSplit& a, const ConstSplit& b, float share,
                             const Split& sum) {
  const float* const ar = a.re.data();
  const float* const ai = a.im.data();
  const float* const br = b.re.data();
  const float* const bi = b.im.data();
  float* const re = sum.re.data();
  float* const im = sum.im.data();
  const std::size_t count = sum.re.size();
  for (std::size_t i = 0; i < count; ++i) {
    re[i] += share * (ar[i] * br[i] - ai[i] * bi[i]);
    im[i] += share * (ar[i] * bi[i] + ai[i] * br[i]);
  }
}

KILTER_WIDE void add_power(const ConstSplit& a, std::span<float> sum) {
  const float* const re = a.re.data();
  const float* const im = a.im.data();
  float* const out = sum.data();
  for (std::size_t i = 0; i < sum.size(); ++i) out[i] += re[i] * re[i] + im[i] * im[i];
}

}  // namespace kilter::sync
