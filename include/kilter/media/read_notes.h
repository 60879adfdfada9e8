// What a reader notices on its way through a file, beside the sound.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "kilter/base/units.h"

namespace kilter::media {

/// A place where a file's time stamps leap, as after packets that a network lost.
struct StampJump {
  Frames at;      ///< where in the sound as delivered: the silence starts, or sound was left out
  Frames jump;    ///< what the stamps did: forward positive, backward negative
  Frames put_in;  ///< silence, so that what follows stays in time; 0 where the jump is backward
  Frames left_out{0};  ///< sound that overlapped what stood before
};

/// Complete once read() has returned 0 frames or an error.
struct ReadNotes {
  std::vector<StampJump> jumps;  ///< in order; the first of them where there are too many to keep
  std::int64_t jump_count{0};    ///< all
  Frames put_in;                 ///< over all jumps
  Frames left_out;               ///< over all jumps
  std::int64_t not_numbers{0};   ///< samples that were NaN, infinite or above 1e5, read as 0
  Frames first_not_number;       ///< where the first of them was
  Frames missing;                ///< what the header claims beyond what could be read
  bool unclosed{false};          ///< its recorder never wrote how long it is: read to its end
  bool breaks_off{false};        ///< the file's last piece is not there, whatever its header claims
  std::int64_t lost_packets{0};  ///< pieces that could not be decoded and were passed over
  std::string first_loss;        ///< the library's words for the first of them
};

}  // namespace kilter::media
