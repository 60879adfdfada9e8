// What a recorder, an upload or a mixing program did to the frames of a file.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "kilter/base/result.h"

namespace kilter::simulator {

/// A fault in a file. Times are seconds of the undamaged recording, on the recorder's own clock.
struct Damage {
  enum class Kind {
    lost,            ///< the stretch from `at_s` is missing, the file closes up
    repeated,        ///< the stretch that ends at `at_s` stands there twice
    zeros_inserted,  ///< digital zeros stand before `at_s`: the file is longer
    zeros_over       ///< digital zeros in place of the sound from `at_s`: no time is lost
  };
  Kind kind{Kind::lost};
  double at_s{0.0};
  double length_s{0.0};
};

/// A row of frames of a file that come from one place.
struct Piece {
  std::int64_t file_from{0};
  std::int64_t frames{0};
  std::int64_t source_from{0};  ///< frame of the undamaged recording; of zeros: of what they follow
  bool zeros{false};
};

/// Where a file is not what was recorded, in frames.
struct Cut {
  std::int64_t file_from{0};
  std::int64_t file_to{0};        ///< equal when frames are lost; else the second copy or the zeros
  std::int64_t source_before{0};  ///< first frame of the undamaged recording that is not before it
  std::int64_t source_after{0};   ///< and the frame with which the recording goes on
  bool shared{false};             ///< all files of the recorder have it
  bool repeated{false};           ///< the frames from `file_from` stand just before it as well
};

/// A file as it was left by its damage, a whole one too.
class FileMap {
 public:
  FileMap() = default;
  /// `shared` happened to all files of a recorder, `own` to this one. Times are rounded to frames.
  /// Fails (bad_command) where faults overlap or lie outside `frames`.
  static Result<FileMap> make(const std::vector<Damage>& shared, const std::vector<Damage>& own,
                              double rate_hz, std::int64_t frames);

  std::vector<float> apply(std::vector<float> recording) const;
  const std::vector<Cut>& cuts() const { return cuts_; }

  /// Second of the undamaged recording that stands at a second of the file, both on the recorder's
  /// clock. Inserted zeros count as the recording that would have gone on; before the file and
  /// after it, too, the recording goes on.
  double source_of(double file_s) const;
  /// The first second of the file that holds a second of the recording; nothing where it is lost.
  std::optional<double> file_of(double source_s) const;

 private:
  double rate_hz_{1.0};
  std::int64_t frames_{0};  // of the recording
  std::vector<Piece> pieces_{Piece{}};
  std::vector<Cut> cuts_;
};

}  // namespace kilter::simulator
