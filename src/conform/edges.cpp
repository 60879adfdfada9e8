#include "edges.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "kilter/base/whole_frames.h"

namespace kilter::conform {
namespace {

constexpr double kHoleFade_s = 0.005;
constexpr double kEndFade_s = 0.002;
// What breaks off below 50 dB under full scale is not heard as a click.
constexpr float kClick = 0.003F;
// How near to the edge a sample must be to click.
constexpr std::int64_t kNear_frames = 16;

struct Frames {
  std::int64_t first{0};
  std::int64_t end{0};
  bool after_hole{false};
  bool before_hole{false};
};

/// What sounds in one piece, in frames of the stem.
std::vector<Frames> pieces_of(const TimeMap& map, double rate_hz, double from_s) {
  std::vector<Frames> pieces;
  for (const Span& span : map.spans()) {
    const std::int64_t first = first_frame_from((span.line_from_s - from_s) * rate_hz);
    const std::int64_t end = first_frame_from((span.line_to_s - from_s) * rate_hz);
    if (end <= first) continue;
    const bool goes_on = !pieces.empty() && pieces.back().end >= first;
    if (goes_on) {
      pieces.back().end = end;
      continue;
    }
    if (!pieces.empty()) pieces.back().before_hole = true;
    pieces.push_back({first, end, !pieces.empty(), false});
  }
  return pieces;
}

}  // namespace

std::vector<Edge> edges_of(const TimeMap& map, double rate_hz, double from_s) {
  std::vector<Edge> edges;
  for (const Frames& piece : pieces_of(map, rate_hz, from_s)) {
    const auto length = [&](bool hole) {
      const auto wanted = std::llround((hole ? kHoleFade_s : kEndFade_s) * rate_hz);
      return std::min<std::int64_t>(wanted, (piece.end - piece.first) / 2);
    };
    const std::int64_t rise_end = piece.first + length(piece.after_hole);
    const std::int64_t fall = piece.end - length(piece.before_hole);
    if (rise_end > std::max<std::int64_t>(piece.first, 0))
      edges.push_back({piece.first, rise_end, true, !piece.after_hole});
    if (piece.end > std::max<std::int64_t>(fall, 0))
      edges.push_back({fall, piece.end, false, !piece.before_hole});
  }
  return edges;
}

bool fade(const Edge& edge, std::int64_t at, std::span<float> sound) {
  const auto distance = [&](std::size_t i) {
    const std::int64_t frame = at + static_cast<std::int64_t>(i);
    return edge.rises ? frame - edge.first : edge.end - 1 - frame;
  };
  if (edge.only_clicks) {
    bool clicks = false;
    for (std::size_t i = 0; i < sound.size(); ++i)
      clicks = clicks || (distance(i) < kNear_frames && std::abs(sound[i]) > kClick);
    if (!clicks) return false;
  }
  const auto length = static_cast<double>(edge.end - edge.first);
  for (std::size_t i = 0; i < sound.size(); ++i) {
    const double share = (static_cast<double>(distance(i)) + 0.5) / length;
    sound[i] *= static_cast<float>(std::sin(0.5 * std::numbers::pi * share));
  }
  return true;
}

}  // namespace kilter::conform
