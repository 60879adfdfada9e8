// What happens between the microphones and the mixdown.
#pragma once

#include <span>
#include <vector>

#include "kilter/base/result.h"
#include "simulator.h"

namespace kilter::simulator {

/// Slow random gain within +-`range_db`, a new goal every 2 to 6 s. In place, from world frame 0.
void ride_gain(std::uint64_t seed, double range_db, std::span<float> samples);

/// Turns `samples` down by `depth_db` (below 0) wherever `person` does not speak: 30 ms to come up,
/// 400 ms to go down. `first_s` is the timeline second of the first sample.
void duck_pauses(const std::vector<Utterance>& talk, int person, double depth_db, double first_s,
                 std::span<float> samples);

/// A guest's way into the mix. `samples` are at kWorldRateHz from timeline second 0.
/// Result: how much later the stream's codec left the sound, in seconds.
Result<double> send_through(const Stream& stream, std::uint64_t seed,
                            const std::vector<Utterance>& talk, int person,
                            std::vector<float>& samples);

/// High-pass at 80 Hz (Butterworth, second order) and a shelf of +2 dB above 4 kHz, both minimum
/// phase as in any mixer. Such filters bring the sound forward: by 81 us at 500 Hz, 12 us at 2 kHz,
/// 4.4 us in the mean over 120 to 7200 Hz. The truth does not count that.
void filter_bus(std::span<float> samples);

}  // namespace kilter::simulator
