#include "stream_time.h"

#include <algorithm>
#include <cmath>

#include "interpolator.h"
#include "random.h"
#include "voices.h"

namespace kilter::simulator {
namespace {

constexpr double kFade_s = 0.005;
constexpr std::size_t kBlock = 2048;  // frames read at a time

double smooth_step(double way) {
  const double x = std::clamp(way, 0.0, 1.0);
  return x * x * (3.0 - 2.0 * x);
}

/// Three times the size: the steepest place of the smooth step then plays at half or at one and a
/// half times the speed.
double move_length_s(const Excursion& e) {
  return std::min(std::max(0.06, 3.0 * std::abs(e.size_s)), 0.5 * e.length_s);
}

}  // namespace

StreamTime::StreamTime(std::vector<Excursion> excursions, std::vector<BufferStep> steps)
    : excursions_(std::move(excursions)) {
  std::stable_sort(excursions_.begin(), excursions_.end(),
                   [](const Excursion& a, const Excursion& b) { return a.line_s < b.line_s; });
  pieces_.push_back({});
  for (const BufferStep& step : steps)
    pieces_.push_back({step.line_s, pieces_.back().step_s + step.step_s, 0.0});
}

void StreamTime::play_sample_for_sample(const Played& played, double own_from_s, double from_s,
                                        double to_s, double splice_s, double first_error_s) {
  played_ = played;
  std::vector<Piece> pieces;
  double own_s = own_from_s - from_s;  // as if there were no error at the beginning
  const auto error_s = [&](double line_s) { return line_s - played_(line_s + own_s); };
  own_s -= first_error_s - error_s(from_s);
  std::size_t next = 0;
  const auto step_at = [&](double line_s) {
    while (next + 1 < pieces_.size() && pieces_[next + 1].from_s <= line_s) ++next;
    return pieces_[next];
  };
  pieces.push_back({pieces_[0].from_s, pieces_[0].step_s, own_s});
  constexpr double kLook_s = 0.01;
  for (double line_s = from_s; line_s < to_s; line_s += kLook_s) {
    const double error = error_s(line_s);
    const bool away = std::abs(error) > 0.5 * splice_s;
    if (away) own_s += std::copysign(splice_s, error);
    const Piece& step = step_at(line_s);
    if (away || step.step_s != pieces.back().step_s)
      pieces.push_back({away ? line_s : step.from_s, step.step_s, own_s});
  }
  pieces_ = std::move(pieces);
}

double StreamTime::excursion_s(double line_s) const {
  auto next = std::upper_bound(excursions_.begin(), excursions_.end(), line_s,
                               [](double at, const Excursion& e) { return at < e.line_s; });
  if (next == excursions_.begin()) return 0.0;
  const Excursion& e = *--next;
  const double since_s = line_s - e.line_s;
  const double move_s = move_length_s(e);
  return e.size_s *
         std::min(smooth_step(since_s / move_s), smooth_step((e.length_s - since_s) / move_s));
}

double StreamTime::delay_in(const Piece& piece, double line_s) const {
  const double saw_s = played_ ? line_s - played_(line_s + piece.own_s) : 0.0;
  return piece.step_s + saw_s + excursion_s(line_s);
}

double StreamTime::delay_s(double line_s) const {
  auto next = std::upper_bound(pieces_.begin() + 1, pieces_.end(), line_s,
                               [](double at, const Piece& p) { return at < p.from_s; });
  return delay_in(*--next, line_s);
}

std::vector<float> StreamTime::apply(std::span<const float> voice) const {
  const Interpolator interpolator(kWorldRateHz, kWorldRateHz);
  const auto line_of = [](std::size_t i) { return static_cast<double>(i) / kWorldRateHz; };
  const auto position = [&](const Piece& piece, std::size_t i) {
    return (line_of(i) - delay_in(piece, line_of(i))) * kWorldRateHz;
  };
  std::vector<float> out(voice.size());
  std::vector<double> positions(kBlock);
  std::vector<std::size_t> pieces(kBlock);
  std::size_t now = 0;
  for (std::size_t at = 0; at < out.size(); at += kBlock) {
    const std::span<float> block = std::span(out).subspan(at, std::min(kBlock, out.size() - at));
    for (std::size_t i = 0; i < block.size(); ++i) {
      while (now + 1 < pieces_.size() && pieces_[now + 1].from_s + 0.5 * kFade_s <= line_of(at + i))
        ++now;
      pieces[i] = now;
      positions[i] = position(pieces_[now], at + i);
    }
    interpolator.read(voice, positions, block);
    for (std::size_t i = 0; i < block.size() && pieces[i] + 1 < pieces_.size(); ++i) {
      const Piece& next = pieces_[pieces[i] + 1];
      const double into = (line_of(at + i) - next.from_s) / kFade_s + 0.5;
      if (into <= 0.0) continue;
      const auto part = static_cast<float>(into);
      block[i] += part * (interpolator.at(voice, position(next, at + i)) - block[i]);
    }
  }
  return out;
}

std::vector<double> StreamTime::jumps_s() const {
  std::vector<double> out;
  for (std::size_t i = 1; i < pieces_.size(); ++i) out.push_back(pieces_[i].from_s);
  return out;
}

std::vector<Excursion> random_excursions(std::uint64_t seed, double from_s, double to_s,
                                         double per_minute, double largest_s) {
  constexpr double kLeast_s = 0.0025;
  Random random{seed, 61};
  std::vector<Excursion> out;
  const double mean_gap_s = 60.0 / per_minute;
  double at_s = from_s + random.between(0.0, mean_gap_s);
  while (at_s + 3.0 < to_s) {
    Excursion e{at_s, 0.0, random.between(0.5, 3.0)};
    e.size_s = random.sign() * random.between(kLeast_s, std::max(kLeast_s, largest_s));
    out.push_back(e);
    at_s += std::max(e.length_s + 0.5, mean_gap_s * random.between(0.5, 1.5));
  }
  return out;
}

}  // namespace kilter::simulator
