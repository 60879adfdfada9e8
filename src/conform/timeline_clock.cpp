#include "kilter/conform/timeline_clock.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <span>
#include <utility>
#include <vector>

namespace kilter::conform {
namespace {

constexpr const char* kMix = "mix";
// What rounding does to a place, and far below a frame.
constexpr double kSamePlace_s = 1e-9;
constexpr double kSameRate = 1e-12;

/// Whose frames become the timeline's.
struct Clock {
  std::string name;
  std::span<const Span> spans;
  double rate_hz{0.0};     ///< of its frames, in its own time
  double scale{1.0};       ///< its seconds in a second of track time: 1 but under a wrong header
  std::string recorder{};  ///< of a track; empty for the mix
  bool is_mix{false};
};

std::string clock_names(const Lineup& lineup) {
  std::string names = lineup.mix && !lineup.mix->spans.empty() ? "mix" : "";
  for (const LineupTrack& track : lineup.tracks)
    if (track.map) names += (names.empty() ? "\"" : ", \"") + track.name + '"';
  return names;
}

Result<Clock> clock_named(const Lineup& lineup, const std::string& name) {
  if (name == kMix && lineup.mix && !lineup.mix->spans.empty())
    return Clock{name, lineup.mix->spans, lineup.mix->rate_hz, 1.0, {}, true};
  const auto track = std::find_if(lineup.tracks.begin(), lineup.tracks.end(),
                                  [&](const LineupTrack& each) { return each.name == name; });
  const bool is_known = track != lineup.tracks.end();
  if (is_known && track->map) {
    const double rate_hz = track->recorded_rate_hz();
    return Clock{name, track->map->spans(), rate_hz, track->rate_hz / rate_hz, track->recorder};
  }
  const std::string names = clock_names(lineup);
  return Error{ErrorKind::bad_command,
               {},
               "--clock: " + (is_known ? '"' + name + "\" is not placed, so nothing can follow it"
                                       : "there is no track \"" + name + '"'),
               names.empty() ? "leave --clock out: no track is placed" : "choose one of " + names};
}

/// From the old timeline to the new one: rises everywhere and has no gap.
class Bend {
 public:
  explicit Bend(const Clock& clock) {
    double track_s = 0.0;
    double line_s = 0.0;
    for (const Span& span : clock.spans) {
      track_s += span.to_s - span.from_s;
      line_s += span.line_to_s - span.line_from_s;
    }
    before_ = clock.scale * track_s / line_s;
    double end_s = clock.spans.front().line_from_s;
    double at_s = clock.spans.front().from_s * clock.scale;
    for (const Span& span : clock.spans) {
      if (span.line_from_s > end_s) turn(end_s, at_s, before_);
      at_s += (span.line_from_s - end_s) * before_;
      turn(span.line_from_s, at_s, clock.scale / span.rate());
      at_s += (span.to_s - span.from_s) * clock.scale;
      end_s = span.line_to_s;
    }
    turn(end_s, at_s, before_);
    const double shift_s = -std::round((*this)(0.0) * clock.rate_hz) / clock.rate_hz;
    for (Knot& knot : knots_) knot.to_s += shift_s;
  }

  double operator()(double line_s) const {
    const auto after = next_knot(line_s);
    const Knot& knot = after == knots_.begin() ? *after : *std::prev(after);
    return knot.to_s + (line_s - knot.from_s) * (after == knots_.begin() ? before_ : knot.rate);
  }
  Stretch operator()(const Stretch& stretch) const {
    return {(*this)(stretch.line_from_s), (*this)(stretch.line_to_s)};
  }

  /// The spans on the new timeline, in pieces where the bend turns.
  std::vector<Span> bent(std::span<const Span> spans) const {
    std::vector<Span> pieces;
    for (const Span& span : spans) {
      Span rest = span;
      for (auto knot = next_knot(span.line_from_s + kSamePlace_s);
           knot != knots_.end() && knot->from_s < span.line_to_s - kSamePlace_s; ++knot) {
        if (knot == knots_.begin() && std::abs(knot->rate - before_) <= kSameRate) continue;
        const double at_s = span.from_s + (knot->from_s - span.line_from_s) / span.rate();
        pieces.push_back(
            {rest.from_s, at_s, (*this)(rest.line_from_s), knot->to_s, span.uncertainty_us});
        rest.from_s = at_s;
        rest.line_from_s = knot->from_s;
      }
      pieces.push_back({rest.from_s, rest.to_s, (*this)(rest.line_from_s), (*this)(rest.line_to_s),
                        span.uncertainty_us});
    }
    return pieces;
  }

 private:
  struct Knot {
    double from_s{0.0};
    double to_s{0.0};
    double rate{1.0};  // from here on
  };

  /// Where the rate does not change there is no knot, so that no span is cut in vain.
  void turn(double from_s, double to_s, double rate) {
    const double rate_before = knots_.empty() ? before_ : knots_.back().rate;
    if (knots_.empty() || std::abs(rate - rate_before) > kSameRate)
      knots_.push_back({from_s, to_s, rate});
  }
  std::vector<Knot>::const_iterator next_knot(double line_s) const {
    return std::upper_bound(knots_.begin(), knots_.end(), line_s,
                            [](double at_s, const Knot& knot) { return at_s < knot.from_s; });
  }

  double before_{1.0};  // the mean rate: before, behind and where nothing was recorded
  std::vector<Knot> knots_;
};

bool goes_on(const Span& before, const Span& after) {
  return std::abs(after.from_s - before.to_s) <= kSamePlace_s &&
         std::abs(after.line_from_s - before.line_to_s) <= kSamePlace_s;
}

/// What goes on without a step, as one span on whole frames.
/// Nothing where a place would have to move by more than `most_s`.
std::optional<Span> on_frames(std::span<const Span> run, const Clock& clock, double most_s) {
  const Span& first = run.front();
  const Span& last = run.back();
  const double offset_s =
      0.5 * (first.line_from_s + last.line_to_s) - 0.5 * (first.from_s + last.to_s) * clock.scale;
  const double whole_s = std::round(offset_s * clock.rate_hz) / clock.rate_hz;
  const auto line_s = [&](double track_s) { return track_s * clock.scale + whole_s; };
  Span result{first.from_s, last.to_s, line_s(first.from_s), line_s(last.to_s), 0.0};
  for (const Span& span : run) {
    if (std::abs(line_s(span.from_s) - span.line_from_s) > most_s ||
        std::abs(line_s(span.to_s) - span.line_to_s) > most_s)
      return std::nullopt;
    result.uncertainty_us = std::max(result.uncertainty_us, span.uncertainty_us);
  }
  return result;
}

std::optional<std::vector<Span>> all_on_frames(std::span<const Span> spans, const Clock& clock,
                                               double most_s) {
  std::vector<Span> result;
  while (!spans.empty()) {
    std::size_t count = 1;
    while (count < spans.size() && goes_on(spans[count - 1], spans[count])) ++count;
    auto run = on_frames(spans.first(count), clock, most_s);
    if (!run) return std::nullopt;
    // Where two met, rounding may have pushed one over the other.
    if (!result.empty() && run->line_from_s < result.back().line_to_s) {
      run->from_s += (result.back().line_to_s - run->line_from_s) / clock.scale;
      run->line_from_s = result.back().line_to_s;
    }
    if (run->from_s < run->to_s) result.push_back(*run);
    spans = spans.subspan(count);
  }
  return result;
}

/// On the new timeline, and where `is_of_clock` on its frames.
std::vector<Span> moved(std::span<const Span> spans, const Bend& bend, const Clock& clock,
                        bool is_of_clock, double uncertainty_us) {
  auto bent = bend.bent(spans);
  if (!is_of_clock) return bent;
  const double most_s = std::max(1.0 / clock.rate_hz, 1e-6 * uncertainty_us);
  auto whole = all_on_frames(bent, clock, most_s);
  return whole ? *std::move(whole) : bent;
}

void move_findings(std::vector<Finding>& findings, const Bend& bend) {
  for (Finding& finding : findings) {
    if (finding.line_s) finding.line_s = bend(*finding.line_s);
    for (Stretch& stretch : finding.stretches) stretch = bend(stretch);
  }
}

}  // namespace

Result<Lineup> on_clock_of(const Lineup& lineup, const std::string& name) {
  if (name == kMix && lineup.timeline_clock == kMix) return lineup;
  const auto clock = clock_named(lineup, name);
  if (!clock) return clock.error();
  const Bend bend(*clock);
  Lineup result = lineup;
  result.timeline_clock = name;
  result.timeline_rate_hz = clock->rate_hz;
  const Stretch range = bend(Stretch{lineup.from_s, lineup.to_s});
  result.from_s = range.line_from_s;
  result.to_s = range.line_to_s;
  result.stems.clear();
  move_findings(result.findings, bend);
  if (result.mix) {
    result.mix->spans = moved(lineup.mix->spans, bend, *clock, clock->is_mix, 0.0);
    move_findings(result.mix->findings, bend);
  }
  for (LineupTrack& track : result.tracks) {
    move_findings(track.findings, bend);
    if (!track.map) continue;
    const bool is_of_clock =
        track.name == name || (!clock->recorder.empty() && track.recorder == clock->recorder);
    auto map =
        TimeMap::make(moved(track.map->spans(), bend, *clock, is_of_clock, track.uncertainty_us));
    if (!map) return map.error();
    track.map = *std::move(map);
  }
  return result;
}

}  // namespace kilter::conform
