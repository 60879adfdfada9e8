// Multiply-adds that round once, on any processor.
#pragma once

#include <cstdint>

#include "kilter/base/wide_loops.h"

namespace kilter {

/// `sum` becomes `a * b + sum`, rounded once, lane by lane; the same bits as std::fma.
///
/// Without an instruction for it: the product is exact in double precision, their sum is rounded
/// there to odd (the last bit is set where anything is lost), and to float from there; with more
/// than twice the bits in between, the second rounding is as if it were the only one (S. Boldo,
/// G. Melquiond, "Emulation of a FMA and correctly rounded sums: proved algorithms using rounding
/// to odd", IEEE Trans. Computers 57 (2008)).
[[gnu::always_inline]] inline void add_product_fused(const Float8& a, const Float8& b,
                                                     Float8& sum) {
#ifdef __FP_FAST_FMAF
  for (int lane = 0; lane < 8; ++lane) sum[lane] = __builtin_fmaf(a[lane], b[lane], sum[lane]);
#else
  using Long8 = std::int64_t __attribute__((vector_size(64)));
  using Double8 = double __attribute__((vector_size(64)));
  const Double8 product = __builtin_convertvector(a, Double8) * __builtin_convertvector(b, Double8);
  const Double8 before = __builtin_convertvector(sum, Double8);
  Double8 total = product + before;
  // What was lost of it, exactly (D. E. Knuth, "The Art of Computer Programming", vol. 2, 4.2.2).
  const Double8 added = total - product;
  const Double8 lost = (product - (total - added)) + (before - added);
  Long8 bits{}, lost_bits{};
  load(&total, bits);
  load(&lost, lost_bits);
  const Long8 inexact = (lost < 0.0) | (lost > 0.0);  // not where anything is infinite
  const Long8 even = (bits & 1) - 1;                  // all ones where the last bit is 0
  const Long8 towards_zero = (lost_bits ^ bits) >> 63;
  bits += inexact & even & (2 * towards_zero + 1);
  store(bits, &total);
  sum = __builtin_convertvector(total, Float8);
#endif
}

}  // namespace kilter
