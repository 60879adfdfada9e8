// Opus without a file round it.
#pragma once

#include <optional>
#include <span>
#include <vector>

namespace kilter::simulator {

/// Encodes one channel at 48 kHz, packet by packet, and decodes each at once: the samples that a
/// reader of the file would get, as long as the input, for two thirds of the time (libopus asks the
/// processor what it can with every packet of a multistream file, which is dear under a
/// hypervisor). `bits_per_s`: 6000 to 256000. Nothing where libopus refuses. Safe to call from many
/// threads.
std::optional<std::vector<float>> through_opus(std::span<const float> samples, int bits_per_s);

}  // namespace kilter::simulator
