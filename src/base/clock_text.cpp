#include "kilter/base/clock_text.h"

#include <array>
#include <cmath>
#include <cstdint>
#include <cstdio>

namespace kilter {

std::string clock_text(double seconds, int decimals) {
  // Beyond this a double has no nanoseconds left; no recording comes near.
  if (!std::isfinite(seconds) || std::fabs(seconds) > 1e8) return "-";
  std::int64_t units_per_s = 1;
  for (int i = 0; i < decimals; ++i) units_per_s *= 10;
  const auto units = std::llround(std::fabs(seconds) * static_cast<double>(units_per_s));
  const auto whole_s = static_cast<std::int64_t>(units / units_per_s);
  const auto fraction = static_cast<std::int64_t>(units % units_per_s);
  std::array<char, 64> clock{};
  std::snprintf(clock.data(), clock.size(), "%s%02lld:%02lld:%02lld",
                seconds < 0.0 && units != 0 ? "-" : "", static_cast<long long>(whole_s / 3600),
                static_cast<long long>(whole_s / 60 % 60), static_cast<long long>(whole_s % 60));
  std::string text = clock.data();
  if (decimals > 0) {
    const std::string digits = std::to_string(fraction);
    text += '.';
    text.append(static_cast<std::size_t>(decimals) - digits.size(), '0');
    text += digits;
  }
  return text;
}

std::string short_time_text(double seconds) {
  const double size_ms = std::fabs(1000.0 * seconds);
  if (!(size_ms < 9999.5)) return clock_text(std::fabs(seconds));
  std::array<char, 32> text{};
  const char* form = size_ms < 1e-3 ? "%.4f ms" : size_ms < 999.5 ? "%.3g ms" : "%.0f ms";
  std::snprintf(text.data(), text.size(), form, size_ms);
  return text.data();
}

std::string bound_text(double bound_us) {
  if (bound_us > 1e6) return "> 1 s";
  if (!(bound_us < 999.95)) return short_time_text(1e-6 * bound_us);
  std::array<char, 32> text{};
  std::snprintf(text.data(), text.size(), "%.1f", bound_us);
  return text.data();
}

}  // namespace kilter
