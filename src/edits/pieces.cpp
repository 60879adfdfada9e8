#include "pieces.h"

#include <algorithm>
#include <cmath>

#include "kilter/base/whole_frames.h"

namespace kilter::edits {
namespace {

// Spans that meet are written with the same number twice; a step is never so small.
constexpr double kNoStep_s = 1e-9;

bool meet(const Span& before, const Span& after) {
  return std::abs(after.from_s - before.to_s) < kNoStep_s &&
         std::abs(after.line_from_s - before.line_to_s) < kNoStep_s;
}

}  // namespace

double Piece::line_s(double frame_in_file) const {
  const double track_s = (static_cast<double>(part_first) + frame_in_file) / track->rate_hz;
  return span.line_from_s + (track_s - span.from_s) * span.rate();
}

double Piece::frame_in_file(double line_s) const {
  const double track_s = span.from_s + (line_s - span.line_from_s) / span.rate();
  return track_s * track->rate_hz - static_cast<double>(part_first);
}

std::vector<Piece> pieces_of(const LineupTrack& track) {
  std::vector<Piece> pieces;
  if (!track.map) return pieces;
  const auto spans = track.map->spans();
  for (std::size_t i = 0; i < spans.size(); ++i) {
    const std::int64_t span_first = first_frame_from(spans[i].from_s * track.rate_hz);
    const std::int64_t span_end = first_frame_from(spans[i].to_s * track.rate_hz);
    bool goes_on = i > 0 && meet(spans[i - 1], spans[i]);
    std::int64_t part_first = 0;
    for (std::size_t part = 0; part < track.parts.size(); ++part) {
      const std::int64_t frames = track.parts[part].frames;
      const std::int64_t first = std::max(span_first, part_first);
      const std::int64_t end = std::min(span_end, part_first + frames);
      if (first < end) {
        pieces.push_back(
            {&track, part, part_first, first - part_first, end - part_first, spans[i], goes_on});
        goes_on = true;
      }
      part_first += frames;
    }
  }
  return pieces;
}

}  // namespace kilter::edits
