#include "non_numbers.h"

#include <algorithm>
#include <cmath>
#include <cstdint>

namespace kilter::media {
namespace {

// 100 dB above full scale is no sound, but damage, and one such sample would drown all else. Floats
// that count as 16-bit integers do stay below.
constexpr float kLoudest = 1e5F;

bool is_number(float sample) { return std::fabs(sample) <= kLoudest; }

}  // namespace

void silence_non_numbers(std::span<float> interleaved, int channels, Frames at, ReadNotes& notes) {
  // Without a branch, so that vector instructions do it.
  std::int32_t count = 0;
  for (const float sample : interleaved) count += is_number(sample) ? 0 : 1;
  if (count == 0) return;
  if (notes.not_numbers == 0) {
    const auto first = std::find_if_not(interleaved.begin(), interleaved.end(), is_number);
    notes.first_not_number = {at.n + (first - interleaved.begin()) / channels};
  }
  notes.not_numbers += count;
  std::replace_if(
      interleaved.begin(), interleaved.end(), [](float sample) { return !is_number(sample); },
      0.0F);
}

}  // namespace kilter::media
