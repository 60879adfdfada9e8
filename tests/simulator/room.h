// How a voice reaches a microphone.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "random.h"
#include "simulator.h"

namespace kilter::simulator {

/// A stretch of one person's dry speech on the world grid.
struct Speech {
  int person{0};
  std::int64_t first_frame{0};  // world frame; may be negative
  std::vector<float> samples;
  std::vector<float> dull;  // the same without its brilliance: what walls and turned heads leave
};

/// Fills Speech::dull.
void make_dull(Speech& speech);

struct Tap {
  std::int64_t delay_frames{0};
  float gain{0.0F};
};

/// From one mouth to one microphone.
struct Path {
  float direct{0.0F};     // of the bright sound, without delay: the own microphone
  std::vector<Tap> taps;  // of the dull sound
};

/// The own microphone: the voice itself at once, the room's answer far below.
Path own_path(Random& random, const Room& room);
/// A neighbour's microphone: late, weaker, and with more of the room.
Path bleed_path(Random& random, const Room& room);

/// Adds what the microphone hears of `speech` to `out`, whose first element is world frame
/// `out_first`. What lies outside `out` is dropped.
void add_speech(const Speech& speech, const Path& path, float gain, std::int64_t out_first,
                std::span<float> out);

/// Adds `sound`, whose first sample falls on out[first], to `out`; `dull` as Speech::dull is.
void add_sound(std::span<const float> sound, std::int64_t first, float gain, bool dull,
               std::span<float> out);

}  // namespace kilter::simulator
