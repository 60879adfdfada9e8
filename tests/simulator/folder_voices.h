// Real voices from a folder of recordings.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "interpolator.h"
#include "kilter/base/result.h"
#include "voices.h"

namespace kilter::simulator {

/// Speech cut from recordings. Each folder directly below the given one is a speaker (with all that
/// lies below it); without such folders each file is one. Names that begin with "noise" are left
/// out. Every utterance is a stretch from anywhere in the speaker's recordings, played up to 4 %
/// faster or slower and coloured a little, so that no two sound the same even where the material is
/// short and comes round again.
class FolderVoices final : public VoiceSource {
 public:
  /// Reads speakers for `people`: a choice by `seed`, those with a minute or more before the
  /// others. Fails (no_input) when the folder holds fewer, (unreadable) when a file cannot be read.
  /// Memory: the chosen speakers' recordings, 4 bytes per sample at kWorldRateHz.
  static Result<std::unique_ptr<FolderVoices>> open(const std::filesystem::path& folder,
                                                    std::uint64_t seed, int people);

  std::vector<float> utterance(int person, int index, std::int64_t frames) const override;

  struct Speaker {
    std::string name;
    std::vector<float> sound;  // all recordings in a row
  };
  const std::vector<Speaker>& speakers() const { return speakers_; }

 private:
  FolderVoices(std::uint64_t seed, std::vector<Speaker> speakers)
      : seed_(seed), speakers_(std::move(speakers)) {}

  std::uint64_t seed_;
  std::vector<Speaker> speakers_;  // by person
  Interpolator player_{kWorldRateHz, kWorldRateHz};
};

}  // namespace kilter::simulator
