#include "damage.h"

#include <algorithm>
#include <cmath>

namespace kilter::simulator {
namespace {

// Frames: what is left of a second after it went through a rate and back is no step over a border.
constexpr double kRounding = 1e-6;

struct Fault {
  Damage::Kind kind{Damage::Kind::lost};
  std::int64_t at{0};
  std::int64_t frames{0};
  bool shared{false};

  bool takes_sound() const {
    return kind == Damage::Kind::lost || kind == Damage::Kind::zeros_over;
  }
  std::int64_t first() const { return kind == Damage::Kind::repeated ? at - frames : at; }
  std::int64_t last() const { return takes_sound() ? at + frames : at; }
};

std::vector<Fault> in_order(const std::vector<Damage>& shared, const std::vector<Damage>& own,
                            double rate_hz) {
  std::vector<Fault> faults;
  const auto add = [&](const std::vector<Damage>& damage, bool of_all) {
    for (const Damage& d : damage)
      faults.push_back(
          {d.kind, std::llround(d.at_s * rate_hz), std::llround(d.length_s * rate_hz), of_all});
  };
  add(shared, true);
  add(own, false);
  std::stable_sort(faults.begin(), faults.end(),
                   [](const Fault& a, const Fault& b) { return a.at < b.at; });
  return faults;
}

}  // namespace

Result<FileMap> FileMap::make(const std::vector<Damage>& shared, const std::vector<Damage>& own,
                              double rate_hz, std::int64_t frames) {
  FileMap map;
  map.rate_hz_ = rate_hz;
  map.frames_ = frames;
  map.pieces_.clear();
  std::int64_t source = 0;
  std::int64_t file = 0;
  const auto put = [&](std::int64_t from, std::int64_t count, bool zeros) {
    if (count > 0) map.pieces_.push_back({file, count, from, zeros});
    file += std::max<std::int64_t>(count, 0);
  };
  for (const Fault& fault : in_order(shared, own, rate_hz)) {
    if (fault.frames <= 0 || fault.first() < source || fault.last() > frames)
      return Error{ErrorKind::bad_command,
                   {},
                   "faults of a file overlap, or lie outside of it",
                   "correct the session's specification"};
    put(source, fault.at - source, false);
    const std::int64_t seam_from = file;
    if (fault.kind == Damage::Kind::repeated) put(fault.at - fault.frames, fault.frames, false);
    if (fault.kind == Damage::Kind::zeros_inserted || fault.kind == Damage::Kind::zeros_over)
      put(fault.at, fault.frames, true);
    source = fault.last();
    map.cuts_.push_back(
        {seam_from, file, fault.at, source, fault.shared, fault.kind == Damage::Kind::repeated});
  }
  put(source, frames - source, false);
  if (map.pieces_.empty()) map.pieces_.push_back({});
  return map;
}

std::vector<float> FileMap::apply(std::vector<float> recording) const {
  if (cuts_.empty()) return recording;
  std::vector<float> file;
  for (const Piece& piece : pieces_) {
    if (piece.zeros) {
      file.resize(file.size() + static_cast<std::size_t>(piece.frames), 0.0F);
      continue;
    }
    const auto from = recording.begin() + static_cast<std::ptrdiff_t>(piece.source_from);
    file.insert(file.end(), from, from + static_cast<std::ptrdiff_t>(piece.frames));
  }
  return file;
}

double FileMap::source_of(double file_s) const {
  auto piece = std::upper_bound(
      pieces_.begin() + 1, pieces_.end(), file_s * rate_hz_ + kRounding,
      [](double frame, const Piece& p) { return frame < static_cast<double>(p.file_from); });
  --piece;
  return file_s + static_cast<double>(piece->source_from - piece->file_from) / rate_hz_;
}

std::optional<double> FileMap::file_of(double source_s) const {
  const double frame = source_s * rate_hz_ + kRounding;
  for (const Piece& piece : pieces_) {
    const bool first = piece.source_from == 0;
    const bool last = piece.source_from + piece.frames == frames_;
    const auto from = static_cast<double>(piece.source_from);
    const auto to = static_cast<double>(piece.source_from + piece.frames);
    if (!piece.zeros && (first || frame >= from) && (last || frame < to))
      return source_s + static_cast<double>(piece.file_from - piece.source_from) / rate_hz_;
  }
  return {};
}

}  // namespace kilter::simulator
