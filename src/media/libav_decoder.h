// Packets in, pieces of sound out.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "kilter/base/result.h"
#include "kilter/media/audio_file.h"
#include "libav_open.h"
#include "stamp_keeper.h"

namespace kilter::media {

struct Unpacked {
  std::vector<float> sound;
  Stamped stamped;
  std::int64_t lasts{0};  // what the container says, in frames; 0 where it does not
};

/// Packets in, pieces of sound out.
class LibavDecoder {
 public:
  LibavDecoder(OpenedByLibav opened, std::filesystem::path file, ReadNotes& notes)
      : opened_(std::move(opened)), file_(std::move(file)), notes_(notes) {}

  /// The next piece, or nothing at the end; failure() then says whether it was a good one.
  std::optional<Unpacked> next();
  const std::optional<Error>& failure() const { return failure_; }
  int rate_hz() const { return rate_hz_; }
  int channels() const { return channels_; }
  bool skips_lead_in() const { return skips_lead_in_; }
  /// Whether what came last could not be decoded, as where the file's end cuts it.
  bool loss_at_end() const { return loss_at_end_; }
  const OpenedByLibav& opened() const { return opened_; }

 private:
  void stop(const std::string& words);
  void note_loss(int code);
  void feed();
  void flush();
  void send();
  void note_lead_in();
  /// Nothing for an empty frame, and where the sound changes its kind.
  std::optional<Unpacked> unpack();
  std::optional<std::int64_t> in_frames(std::int64_t ticks) const;

  OpenedByLibav opened_;
  std::filesystem::path file_;
  ReadNotes& notes_;
  int rate_hz_{0};
  int channels_{0};
  std::int64_t frames_{0};
  bool fed_{false};
  bool skips_lead_in_{false};
  bool loss_at_end_{false};
  bool flushing_{false};
  bool ended_{false};
  int idle_{0};  // packets since the last sound
  int read_errors_{0};
  std::optional<Error> failure_;
};

}  // namespace kilter::media
