// Timecode (SMPTE 12M) as whole-number arithmetic: labels, frames and samples. Nothing here goes
// through seconds in floating point. "Frame" is a frame of picture in this header.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "kilter/base/result.h"

namespace kilter::edits {

/// How many frames of picture a second has, and how they are counted.
struct FrameRate {
  int nominal{25};          ///< frames in a second of labels: 24, 25, 30, 50 or 60
  bool pulled_down{false};  ///< slower than nominal by 1000/1001
  bool drop_frame{false};   ///< labels, not frames, are skipped: 30 and 60 pulled down only

  /// Frames a second, exactly `numerator() / denominator()`.
  std::int64_t numerator() const { return std::int64_t{nominal} * (pulled_down ? 1000 : 1); }
  std::int64_t denominator() const { return pulled_down ? 1001 : 1; }
  /// How many frames the labels of a day count.
  std::int64_t frames_per_day() const;
  bool operator==(const FrameRate&) const = default;
};

/// "23.976", "24", "25", "29.97", "29.97df", "30", "50", "59.94", "59.94df" or "60".
std::optional<FrameRate> frame_rate_from_text(const std::string& text);
std::string to_text(const FrameRate& rate);
/// What frame_rate_from_text() takes.
std::vector<std::string> frame_rate_names();

struct TimecodeLabel {
  std::int64_t hour{0}, minute{0}, second{0}, frame{0};
};

/// The label of a frame counted from 00:00:00:00. A day later, or earlier than 0, the labels start
/// again.
TimecodeLabel label_of(std::int64_t frame, const FrameRate& rate);
/// The same as HH:MM:SS:FF, in drop-frame HH:MM:SS;FF.
std::string timecode_text(std::int64_t frame, const FrameRate& rate);

/// The frame, from 0, that has a label: HH:MM:SS:FF, or HH:MM:SS;FF in drop-frame, where `:` is
/// taken too. Fails (bad_command) with what is wrong: another form, a field beyond its bounds, a
/// label that drop-frame skips, or `;` at a rate that drops none.
Result<std::int64_t> frame_of_timecode(const std::string& text, const FrameRate& rate);

/// The first sample at or after the start of a frame: both counted from one moment, either may be
/// below 0. `samples_per_s` from 1 to 1e6.
std::int64_t first_sample_of_frame(std::int64_t frame, const FrameRate& rate,
                                   std::int64_t samples_per_s);
/// The frame during which a sample begins.
std::int64_t frame_of_sample(std::int64_t sample, const FrameRate& rate,
                             std::int64_t samples_per_s);

}  // namespace kilter::edits
