// What a stem holds, and what it should hold as the simulator's truth says.
#pragma once

#include <cmath>
#include <filesystem>
#include <span>
#include <utility>
#include <vector>

#include "media/read_whole.h"
#include "reference/resample_reference.h"
#include "simulator/simulator.h"

namespace kilter::test {

/// The first channel of a mono file; nothing when it cannot be read.
inline std::vector<float> read_all(const std::filesystem::path& file) {
  auto whole = media::read_whole(file);
  return whole ? std::move(whole->channels.front()) : std::vector<float>{};
}

inline std::span<const float> piece(const std::vector<float>& sound, double from_s, double length_s,
                                    double rate_hz) {
  const auto first = static_cast<std::size_t>(std::llround(from_s * rate_hz));
  return std::span(sound).subspan(first, static_cast<std::size_t>(length_s * rate_hz));
}

/// The recording at the places that the truth gives, at the mix's rate from timeline second
/// `from_s` on; silence where the recording was lost. For recordings without a codec.
inline std::vector<float> true_piece(const simulator::Session& truth, std::size_t track,
                                     double from_s, double length_s) {
  const simulator::SimulatedTrack& recording = truth.tracks[track];
  std::vector<float> sound;
  for (int i = 0; i < static_cast<int>(length_s * truth.mix_rate_hz); ++i) {
    const double line_s = (std::round(from_s * truth.mix_rate_hz) + i) / truth.mix_rate_hz;
    const auto file_s = recording.file.file_of(recording.clock.own_of(line_s));
    sound.push_back(file_s ? static_cast<float>(reference::value_at(
                                 recording.samples, *file_s * recording.clock.rate_hz, 1.0))
                           : 0.0F);
  }
  return sound;
}

}  // namespace kilter::test
