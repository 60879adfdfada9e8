#include "fir_kernels.h"

#include <algorithm>
#include <cmath>
#include <cstring>

#include "fused.h"
#include "kilter/base/wide_loops.h"
#include "sinc.h"

// A second compilation for wider registers and fused multiply-adds; KILTER_WIDE says how it is
// chosen, here it is written out, so that a test can call both, Clang has it too, and it works
// under sanitizers.
#if defined(__x86_64__) && defined(__GNUC__)
#define KILTER_HAS_AVX2 1
#include <immintrin.h>
#endif

namespace kilter {
namespace {

constexpr int kMiddlesAtOnce = 48;  // as many sums as registers hold, with the input
constexpr std::int64_t kMostMiddles = 44 * kMiddlesAtOnce;  // stays in the nearest cache
static_assert(kReadableBeyond >= kMiddlesAtOnce - 1);

/// Of a fraction of 2^cell_bits cells: where in its cell it lies, in cells from the middle.
[[gnu::always_inline]] inline float offset_in_cell(std::uint64_t fraction, int cell_bits) {
  const auto upper = static_cast<std::uint32_t>((fraction << cell_bits) >> 32U);
  return static_cast<float>(static_cast<std::int32_t>(upper ^ 0x80000000U)) * 0x1p-32F;
}

namespace plain {

#define KILTER_FIR
#define KILTER_FIR_INNER [[gnu::always_inline]] inline
KILTER_FIR_INNER void add_product(const Float8& a, const Float8& b, Float8& sum) {
  add_product_fused(a, b, sum);
}
#include "fir_loops.inc"
#undef KILTER_FIR
#undef KILTER_FIR_INNER

}  // namespace plain

#ifdef KILTER_HAS_AVX2
namespace avx2 {

#define KILTER_FIR [[gnu::target("avx2,fma")]]
#define KILTER_FIR_INNER [[gnu::target("avx2,fma"), gnu::always_inline]] inline
KILTER_FIR_INNER void add_product(const Float8& a, const Float8& b, Float8& sum) {
  sum = _mm256_fmadd_ps(a, b, sum);
}
#include "fir_loops.inc"
#undef KILTER_FIR
#undef KILTER_FIR_INNER

}  // namespace avx2

bool has_avx2() {
  static const bool has = __builtin_cpu_supports("avx2") != 0 && __builtin_cpu_supports("fma") != 0;
  return has;
}
#endif

}  // namespace

void interpolate_plainly(const SincTable& table, const float* input, FramePosition at,
                         const FramePosition& step, std::span<float> out) {
  plain::interpolate_directly(table, input, at, step, out);
}

void interpolate_plainly(const DoubledSinc& sinc, const float* input, FramePosition at,
                         const FramePosition& step, std::span<float> out) {
  plain::interpolate_doubled(sinc, input, at, step, out);
}

void interpolate(const SincTable& table, const float* input, FramePosition at,
                 const FramePosition& step, std::span<float> out) {
#ifdef KILTER_HAS_AVX2
  if (has_avx2()) return avx2::interpolate_directly(table, input, at, step, out);
#endif
  interpolate_plainly(table, input, at, step, out);
}

void interpolate(const DoubledSinc& sinc, const float* input, FramePosition at,
                 const FramePosition& step, std::span<float> out) {
#ifdef KILTER_HAS_AVX2
  if (has_avx2()) return avx2::interpolate_doubled(sinc, input, at, step, out);
#endif
  interpolate_plainly(sinc, input, at, step, out);
}

}  // namespace kilter
