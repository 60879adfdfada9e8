// A file read to its end.
#pragma once

#include <cmath>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "kilter/media/audio_file.h"

namespace kilter::media {

struct WholeFile {
  AudioInfo info;
  std::vector<std::vector<float>> channels;
  ReadNotes notes;
  std::optional<Error> failure;  ///< after what was read

  std::int64_t frames() const { return channels.empty() ? 0 : std::ssize(channels.front()); }
};

/// Reads in blocks of a size that divides nothing. An Error where not a frame could be read.
inline Result<WholeFile> read_whole(const std::filesystem::path& file) {
  constexpr std::size_t kBlock = 977;
  auto audio = open_audio(file);
  if (!audio) return audio.error();
  WholeFile whole;
  whole.info = audio->info;
  const auto count = static_cast<std::size_t>(audio->info.channels);
  whole.channels.resize(count);
  std::vector<float> block(kBlock * count);
  for (;;) {
    const auto got = audio->source->read(block);
    if (!got) whole.failure = got.error();
    if (!got || got->n == 0) break;
    for (std::size_t i = 0; i < static_cast<std::size_t>(got->n) * count; ++i)
      whole.channels[i % count].push_back(block[i]);
  }
  whole.notes = audio->source->notes();
  if (whole.failure && whole.frames() == 0) return *whole.failure;
  return whole;
}

/// How many frames later than `source` from `from` on, over `length` frames, `heard` holds the
/// same: the top of their correlation within `reach`. Nothing where they hardly agree.
inline std::optional<int> lag_frames(std::span<const float> source, std::span<const float> heard,
                                     int from, int length, int reach) {
  double best = 0.5;  // what other sound never reaches
  std::optional<int> lag;
  for (int shift = -reach; shift <= reach; ++shift) {
    double product = 0.0;
    double power = 0.0;
    double own = 0.0;
    for (int i = from; i < from + length && i < std::ssize(source); ++i) {
      const int at = i + shift;
      const float x = source[static_cast<std::size_t>(i)];
      const float y =
          at >= 0 && at < std::ssize(heard) ? heard[static_cast<std::size_t>(at)] : 0.0F;
      product += static_cast<double>(x) * y;
      power += static_cast<double>(y) * y;
      own += static_cast<double>(x) * x;
    }
    const double agreement = power > 0.0 ? product / std::sqrt(power * own) : 0.0;
    if (agreement <= best) continue;
    best = agreement;
    lag = shift;
  }
  return lag;
}

}  // namespace kilter::media
