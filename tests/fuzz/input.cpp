#include "input.h"

#include <algorithm>
#include <bit>
#include <limits>
#include <utility>

namespace kilter::fuzz {

std::uint8_t Input::byte() {
  if (rest_.empty()) return 0;
  const auto value = static_cast<std::uint8_t>(rest_.front());
  rest_.remove_prefix(1);
  return value;
}

std::uint64_t Input::bits() {
  std::uint64_t value = 0;
  for (int i = 0; i < 8; ++i) value = value << 8U | byte();
  return value;
}

int Input::whole(int low, int high) {
  const auto count = static_cast<std::uint64_t>(std::int64_t{high} - low + 1);
  std::uint64_t value = 0;
  for (int i = 0; i < (count <= 256 ? 1 : 4); ++i) value = value << 8U | byte();
  return low + static_cast<int>(value % count);
}

double Input::number(double low, double high) {
  std::uint32_t value = 0;
  for (int i = 0; i < 4; ++i) value = value << 8U | byte();
  return low + (high - low) * (static_cast<double>(value) / 4294967295.0);
}

double Input::any_number() {
  using Limits = std::numeric_limits<double>;
  constexpr double kEdges[] = {0.0,           -0.0,          Limits::infinity(),
                               1e9,           -1e9,          -Limits::infinity(),
                               Limits::max(), Limits::min(), Limits::denorm_min(),
                               1.0 + 0x1p-52, 1e-300,        Limits::quiet_NaN()};
  switch (whole(0, 3)) {
    case 0:
      return whole(-128, 127);
    case 1:
      return one_of(kEdges);
    case 2:
      return number(-1e5, 1e5);
    default:
      return std::bit_cast<double>(bits());
  }
}

std::string Input::text(std::size_t most) {
  const std::size_t count = std::min({std::size_t{byte()}, most, rest_.size()});
  std::string value(rest_.substr(0, count));
  rest_.remove_prefix(count);
  return value;
}

std::string_view Input::rest() { return std::exchange(rest_, {}); }

}  // namespace kilter::fuzz
