#include "quarter_seconds.h"

#include "kilter/base/wide_loops.h"

namespace kilter::sync {
namespace {

constexpr float kBrighten = 0.9F;

}  // namespace

KILTER_WIDE QuarterSums quarter_sums(const float* x, const float* y) {
  Float8 power{}, cross{}, a{}, b{}, a_before{}, b_before{};
  for (std::int64_t i = 0; i < kQuarter; i += 8) {
    load(x + i + 1, a);
    load(x + i, a_before);
    load(y + i + 1, b);
    load(y + i, b_before);
    a -= kBrighten * a_before;
    b -= kBrighten * b_before;
    power += a * a;
    cross += a * b;
  }
  QuarterSums sums;
  for (int lane = 0; lane < 8; ++lane) {
    sums.power += static_cast<double>(power[lane]);
    sums.cross += static_cast<double>(cross[lane]);
  }
  return sums;
}

}  // namespace kilter::sync
