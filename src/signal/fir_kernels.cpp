#include "fir_kernels.h"

#include <algorithm>
#include <cstring>
#include <limits>

#include "kilter/signal/wide_loops.h"
#include "sinc.h"

// A second compilation for wider registers; see KILTER_WIDE for why it gives the same bits. Written
// out here, so that a test can call both, Clang has it too, and it works under sanitizers.
#if defined(__x86_64__) && defined(__GNUC__)
#define KILTER_HAS_AVX2 1
#endif

namespace kilter {
namespace {

// Every output is a sum in one fixed order, whether it is computed with its neighbours or not: lane
// i of eight adds up taps i, i + 8, i + 16 ... of the values, of the slopes and of the bends, and
// makes value + offset * (slope + offset * bend) of them; sum_of_lanes() adds up the eight. Taps
// without a bend come first, those before the others and then those after them: being small, they
// leave small sums, whose rounding is small.

/// The weights of a cell. Blocks are of 8 taps.
struct Cell {
  const float* values;
  const float* slopes;
  const float* bends;
  std::int64_t blocks;
  std::int64_t unbent_blocks;  // before and after the bent ones
};

[[gnu::always_inline]] inline Cell cell_of(const SincTable& table, std::uint64_t fraction) {
  const float* row = table.row(fraction >> (64 - table.cell_bits()));
  return {row, row + table.taps(), row + 2 * table.taps(), table.taps() / 8,
          (table.taps() - table.bent_taps()) / 16};
}

/// Where in its cell a fraction lies, in 2^-64 cells from the cell's beginning.
[[gnu::always_inline]] inline std::uint64_t place_in_cell(const SincTable& table,
                                                          std::uint64_t fraction) {
  return fraction << table.cell_bits();
}

/// In cells from the cell's middle.
[[gnu::always_inline]] inline float offset_of(std::uint64_t place) {
  const auto upper = static_cast<std::uint32_t>(place >> 32U);
  return static_cast<float>(static_cast<std::int32_t>(upper ^ 0x80000000U)) * 0x1p-32F;
}

/// Lane sums of one output.
struct OutputSums {
  Float8 value{};
  Float8 slope{};
  Float8 bend{};

  [[gnu::always_inline]] void add(const Cell& cell, const float* input, std::int64_t tap) {
    Float8 x{}, weight{};
    load(input + tap, x);
    load(cell.values + tap, weight);
    value += weight * x;
    load(cell.slopes + tap, weight);
    slope += weight * x;
  }
  [[gnu::always_inline]] void add_bend(const Cell& cell, const float* input, std::int64_t tap,
                                       std::int64_t first_bent) {
    Float8 x{}, weight{};
    load(input + tap, x);
    load(cell.bends + (tap - first_bent), weight);
    bend += weight * x;
  }
  [[gnu::always_inline]] float sum(float offset) const {
    return sum_of_lanes(value + offset * (slope + offset * bend));
  }
};

/// kCount outputs anywhere, side by side because every addition waits for the one before.
template <int kCount>
[[gnu::always_inline]] inline void apart(const SincTable& table, const float* input,
                                         const FramePosition* at, float* out) {
  Cell cells[kCount];
  OutputSums sums[kCount];
#pragma GCC unroll 4
  for (int i = 0; i < kCount; ++i) cells[i] = cell_of(table, at[i].fraction);
  const std::int64_t bent = 8 * cells[0].unbent_blocks;
  const std::int64_t bent_end = 8 * cells[0].blocks - bent;
  for (std::int64_t tap = 0; tap < bent; tap += 8)
#pragma GCC unroll 4
    for (int i = 0; i < kCount; ++i) sums[i].add(cells[i], input + at[i].frame, tap);
  for (std::int64_t tap = bent_end; tap < bent_end + bent; tap += 8)
#pragma GCC unroll 4
    for (int i = 0; i < kCount; ++i) sums[i].add(cells[i], input + at[i].frame, tap);
  for (std::int64_t tap = bent; tap < bent_end; tap += 8)
#pragma GCC unroll 4
    for (int i = 0; i < kCount; ++i) {
      sums[i].add(cells[i], input + at[i].frame, tap);
      sums[i].add_bend(cells[i], input + at[i].frame, tap, bent);
    }
#pragma GCC unroll 4
  for (int i = 0; i < kCount; ++i)
    out[i] = sums[i].sum(offset_of(place_in_cell(table, at[i].fraction)));
}

/// Sums of one lane for 8 * kWidth outputs a frame apart. Eight outputs take at each tap what the
/// eight before take a block later: input is loaded once. Loops over kWidth must unroll, or the
/// sums do not stay in registers.
template <int kWidth>
struct LaneSums {
  Float8 value[kWidth]{};
  Float8 slope[kWidth]{};
  Float8 bend[kWidth]{};
  Float8 x[kWidth]{};

  [[gnu::always_inline]] void begin(const float* input) {
#pragma GCC unroll 4
    for (int i = 0; i + 1 < kWidth; ++i) load(input + 8 * i, x[i + 1]);
  }
  [[gnu::always_inline]] void take(const float* input) {
#pragma GCC unroll 4
    for (int i = 0; i + 1 < kWidth; ++i) x[i] = x[i + 1];
    load(input + 8 * (kWidth - 1), x[kWidth - 1]);
  }
  [[gnu::always_inline]] void add(float value_weight, float slope_weight) {
#pragma GCC unroll 4
    for (int i = 0; i < kWidth; ++i) {
      value[i] += value_weight * x[i];
      slope[i] += slope_weight * x[i];
    }
  }
  [[gnu::always_inline]] void add_bend(float bend_weight) {
#pragma GCC unroll 4
    for (int i = 0; i < kWidth; ++i) bend[i] += bend_weight * x[i];
  }
};

/// `count` outputs a frame apart, at most 8 * kWidth, by the weights of one cell, in which the
/// first lies at `place` and every other `step` further: what a lane adds up is done for eight
/// outputs at once.
template <int kWidth>
[[gnu::always_inline]] inline void together(const Cell& cell, const float* input,
                                            std::uint64_t place, std::uint64_t step,
                                            std::int64_t count, float* out) {
  float offsets[8 * kWidth];
  for (int i = 0; i < 8 * kWidth; ++i)
    offsets[i] = offset_of(place + static_cast<std::uint64_t>(i) * step);
  const std::int64_t bent = 8 * cell.unbent_blocks;
  const std::int64_t bent_end = 8 * cell.blocks - bent;
  Float8 lanes[8][kWidth];
  for (std::int64_t lane = 0; lane < 8; ++lane) {
    LaneSums<kWidth> sums;
    sums.begin(input + lane);
    for (std::int64_t tap = lane; tap < bent; tap += 8) {
      sums.take(input + tap);
      sums.add(cell.values[tap], cell.slopes[tap]);
    }
    sums.begin(input + bent_end + lane);
    for (std::int64_t tap = bent_end + lane; tap < bent_end + bent; tap += 8) {
      sums.take(input + tap);
      sums.add(cell.values[tap], cell.slopes[tap]);
    }
    sums.begin(input + bent + lane);
    for (std::int64_t tap = bent + lane; tap < bent_end; tap += 8) {
      sums.take(input + tap);
      sums.add(cell.values[tap], cell.slopes[tap]);
      sums.add_bend(cell.bends[tap - bent]);
    }
#pragma GCC unroll 4
    for (int i = 0; i < kWidth; ++i) {
      Float8 offset{};
      load(offsets + 8 * i, offset);
      lanes[lane][i] = sums.value[i] + offset * (sums.slope[i] + offset * sums.bend[i]);
    }
  }
  float made[8 * kWidth];
  for (int i = 0; i < kWidth; ++i)
    store(((lanes[0][i] + lanes[4][i]) + (lanes[2][i] + lanes[6][i])) +
              ((lanes[1][i] + lanes[5][i]) + (lanes[3][i] + lanes[7][i])),
          made + 8 * i);
  std::memcpy(out, made, static_cast<std::size_t>(count) * sizeof(float));
}

constexpr std::int64_t kMostTogether = 24;
static_assert(kReadableBeyond >= kMostTogether - 1);
// Fewer are faster one by one.
constexpr std::int64_t kFewestTogether = 4;

[[gnu::always_inline]] inline void neighbours(const SincTable& table, const float* input,
                                              std::uint64_t fraction, std::int64_t drift,
                                              std::span<float> out) {
  const Cell cell = cell_of(table, fraction);
  const auto step = static_cast<std::uint64_t>(drift);
  std::uint64_t place = place_in_cell(table, fraction);
  while (!out.empty()) {
    const std::int64_t count = std::min(std::ssize(out), kMostTogether);
    if (count > 16)
      together<3>(cell, input, place, step, count, out.data());
    else if (count > 8)
      together<2>(cell, input, place, step, count, out.data());
    else
      together<1>(cell, input, place, step, count, out.data());
    place += static_cast<std::uint64_t>(count) * step;
    input += count;
    out = out.subspan(static_cast<std::size_t>(count));
  }
}

/// How far a step is from a whole frame, in 2^-64 cells; 0 too where it is too far for neighbours
/// to share a cell.
struct Drift {
  bool is_small{false};
  std::int64_t per_step{0};
};

inline Drift drift_of(const SincTable& table, const FramePosition& step) {
  const auto drift = static_cast<std::int64_t>(step.fraction);
  const bool about_one = step.frame == (drift < 0 ? 0 : 1);
  const std::int64_t most = std::numeric_limits<std::int64_t>::max() >> table.cell_bits();
  if (!about_one || drift > most / kFewestTogether || drift < -most / kFewestTogether) return {};
  return {true, drift * (std::int64_t{1} << table.cell_bits())};
}

/// Outputs until one lies in another cell, at most `most`.
inline std::int64_t outputs_in_cell(std::uint64_t place, std::int64_t drift, std::int64_t most) {
  if (drift == 0) return most;
  const std::uint64_t room = drift > 0 ? std::numeric_limits<std::uint64_t>::max() - place : place;
  const auto step = static_cast<std::uint64_t>(drift > 0 ? drift : -drift);
  return static_cast<std::int64_t>(std::min(room / step, static_cast<std::uint64_t>(most - 1)) + 1);
}

[[gnu::always_inline]] inline void interpolate_here(const SincTable& table, const float* input,
                                                    FramePosition at, const FramePosition& step,
                                                    std::span<float> out) {
  const Drift drift = drift_of(table, step);
  while (!out.empty()) {
    const std::int64_t left = std::ssize(out);
    std::int64_t count = 1;
    if (drift.is_small)
      count = outputs_in_cell(place_in_cell(table, at.fraction), drift.per_step, left);
    if (count >= kFewestTogether) {
      neighbours(table, input + at.frame, at.fraction, drift.per_step,
                 out.first(static_cast<std::size_t>(count)));
    } else if (left >= 2) {
      count = 2;
      const FramePosition places[] = {at, after_steps(at, step, 1)};
      apart<2>(table, input, places, out.data());
    } else {
      count = 1;
      apart<1>(table, input, &at, out.data());
    }
    at = after_steps(at, step, count);
    out = out.subspan(static_cast<std::size_t>(count));
  }
}

#ifdef KILTER_HAS_AVX2
[[gnu::target("avx2")]] void interpolate_by_avx2(const SincTable& table, const float* input,
                                                 FramePosition at, const FramePosition& step,
                                                 std::span<float> out) {
  interpolate_here(table, input, at, step, out);
}
#endif

}  // namespace

void interpolate_plainly(const SincTable& table, const float* input, FramePosition at,
                         const FramePosition& step, std::span<float> out) {
  interpolate_here(table, input, at, step, out);
}

void interpolate(const SincTable& table, const float* input, FramePosition at,
                 const FramePosition& step, std::span<float> out) {
#ifdef KILTER_HAS_AVX2
  static const bool has_avx2 = __builtin_cpu_supports("avx2") != 0;
  if (has_avx2) return interpolate_by_avx2(table, input, at, step, out);
#endif
  interpolate_plainly(table, input, at, step, out);
}

}  // namespace kilter
