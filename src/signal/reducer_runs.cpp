#include "reducer_runs.h"

#include <array>

#include "kilter/base/wide_loops.h"

// A second compilation for registers of 16, written out so that a test can call both.
#if defined(__x86_64__) && defined(__GNUC__)
#define KILTER_HAS_AVX512 1
#endif

namespace kilter {
namespace {

// As many sums as registers hold, with the input.
constexpr std::int64_t kNarrowBatch = 6 * 8;
static_assert(ReducerFilter::kBatch % kNarrowBatch == 0);

/// The sums of all runs for kNarrowBatch outputs from the `at`th on.
KILTER_WIDE void add_runs(std::span<const ReducerRun> runs, std::span<const float* const> phases,
                          std::int64_t at, float* out) {
  Float8 a{}, b{}, c{}, d{}, e{}, f{};
  Float8 at_a{}, at_b{}, at_c{}, at_d{}, at_e{}, at_f{};
  for (const ReducerRun& run : runs) {
    const float* input = phases[run.phase] + at + run.shift;
    load(input, at_a);
    load(input + 8, at_b);
    load(input + 16, at_c);
    load(input + 24, at_d);
    load(input + 32, at_e);
    for (const float weight : run.weights) {
      load(input + 40, at_f);
      a += weight * at_a;
      b += weight * at_b;
      c += weight * at_c;
      d += weight * at_d;
      e += weight * at_e;
      f += weight * at_f;
      at_a = at_b;
      at_b = at_c;
      at_c = at_d;
      at_d = at_e;
      at_e = at_f;
      input += 8;
    }
  }
  store(a, out);
  store(b, out + 8);
  store(c, out + 16);
  store(d, out + 24);
  store(e, out + 32);
  store(f, out + 40);
}

#ifdef KILTER_HAS_AVX512
using Float16 = float __attribute__((vector_size(64)));
constexpr std::size_t kWideSums = 10;
constexpr std::int64_t kWideBatch = kWideSums * 16;
static_assert(ReducerFilter::kBatch % kWideBatch == 0);

/// Every lane the same operations in the same order as above. A tap lies half a register behind the
/// one before it: the input of every second is kept apart.
[[gnu::target("avx512f")]] void add_runs_by_avx512(std::span<const ReducerRun> runs,
                                                   std::span<const float* const> phases,
                                                   std::int64_t at, float* out) {
  std::array<Float16, kWideSums> sums{}, even{}, odd{};
  for (const ReducerRun& run : runs) {
    const float* input = phases[run.phase] + at + run.shift;
    for (std::size_t k = 0; k + 1 < kWideSums; ++k) {
      load(input + 16 * k, even[k]);
      load(input + 16 * k + 8, odd[k]);
    }
    const std::size_t taps = run.weights.size();
    for (std::size_t tap = 0; tap < taps; tap += 2, input += 16) {
      load(input + 16 * (kWideSums - 1), even.back());
      for (std::size_t k = 0; k < kWideSums; ++k) sums[k] += run.weights[tap] * even[k];
      if (tap + 1 == taps) break;
      load(input + 16 * (kWideSums - 1) + 8, odd.back());
      for (std::size_t k = 0; k < kWideSums; ++k) sums[k] += run.weights[tap + 1] * odd[k];
      for (std::size_t k = 0; k + 1 < kWideSums; ++k) {
        even[k] = even[k + 1];
        odd[k] = odd[k + 1];
      }
    }
  }
  for (std::size_t k = 0; k < kWideSums; ++k) store(sums[k], out + 16 * k);
}

bool has_avx512() {
  static const bool has = __builtin_cpu_supports("avx512f") != 0;
  return has;
}
#endif

}  // namespace

void add_up_runs_plainly(std::span<const ReducerRun> runs, std::span<const float* const> phases,
                         float* out) {
  for (std::int64_t at = 0; at < ReducerFilter::kBatch; at += kNarrowBatch)
    add_runs(runs, phases, at, out + at);
}

void add_up_runs(std::span<const ReducerRun> runs, std::span<const float* const> phases,
                 float* out) {
#ifdef KILTER_HAS_AVX512
  if (has_avx512()) {
    for (std::int64_t at = 0; at < ReducerFilter::kBatch; at += kWideBatch)
      add_runs_by_avx512(runs, phases, at, out + at);
    return;
  }
#endif
  add_up_runs_plainly(runs, phases, out);
}

}  // namespace kilter
