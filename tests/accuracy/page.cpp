#include "accuracy/page.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

namespace kilter::accuracy {
namespace {

constexpr double kStepLimit_us = 100.0;

double quantile(std::vector<double> values, double q) {
  if (values.empty()) return 0.0;
  const auto last = static_cast<double>(values.size() - 1);
  const auto at = static_cast<std::ptrdiff_t>(std::lround(std::ceil(q * last)));
  std::nth_element(values.begin(), values.begin() + at, values.end());
  return values[static_cast<std::size_t>(at)];
}

/// Four characters or so for anything from a tenth of a microsecond to an hour.
std::string figure(double us) {
  if (us < 99.95) return fmt::format("{:.1f}", us);
  if (us < 9999.5) return fmt::format("{:.0f}", us);
  if (us < 1e6) return fmt::format("{:.0f}ms", us / 1e3);
  return fmt::format("{:.0f}s", us / 1e6);
}

bool well_measured(const SeamTally& seams) {
  return seams.false_ones == 0 && seams.wrong_cause == 0 && seams.worst_step_us <= kStepLimit_us;
}

struct Class {
  double below_us{INFINITY};
  int tracks{0};
  int inside{0};
  int spans{0};
  int spans_inside{0};
};

}  // namespace

void Row::add(const Outcome& outcome) {
  tracks_.insert(tracks_.end(), outcome.tracks.begin(), outcome.tracks.end());
  for (const TrackOutcome& track : outcome.tracks)
    errors_us_.insert(errors_us_.end(), track.errors_us.begin(), track.errors_us.end());
  seams_.add(outcome.seams);
  codes_.add(outcome.codes);
  voices_.add(outcome.voices);
  align_s_ += outcome.align_s;
  track_hours_ += outcome.track_hours;
}

double Row::worst_us() const { return error_us(1.0); }
double Row::error_us(double q) const { return quantile(errors_us_, q); }

int Row::count(Standing standing) const {
  return static_cast<int>(std::count_if(tracks_.begin(), tracks_.end(), [&](const auto& track) {
    return track.standing == standing;
  }));
}

int Row::wrong_firm() const {
  return static_cast<int>(std::count_if(tracks_.begin(), tracks_.end(),
                                        [](const auto& track) { return track.wrong_firm(); }));
}

int Row::outside_bound() const {
  return static_cast<int>(std::count_if(tracks_.begin(), tracks_.end(), [](const auto& track) {
    return track.placed() && !track.bound.holds();
  }));
}

double Row::held_percent() const {
  const auto placed = std::count_if(tracks_.begin(), tracks_.end(),
                                    [](const auto& track) { return track.placed(); });
  return placed == 0 ? 100.0 : 100.0 - 100.0 * outside_bound() / static_cast<double>(placed);
}

std::string Row::complaints(double limit_us, bool must_be_firm) const {
  std::string letters;
  if (limit_us > 0.0 && worst_us() > limit_us) letters += 'e';
  const bool standing_wrong =
      std::any_of(tracks_.begin(), tracks_.end(), [&](const TrackOutcome& track) {
        if (!track.placeable) return track.placed();
        return must_be_firm ? track.standing != Standing::firm : !track.placed();
      });
  if (standing_wrong) letters += 'f';
  if (std::any_of(tracks_.begin(), tracks_.end(), [](const TrackOutcome& track) {
        return track.placed() && track.placeable && track.covered < 0.95;
      }))
    letters += 'u';
  if (wrong_firm() > 0) letters += 'w';
  if (seams_.found < seams_.due) letters += 's';
  if (!well_measured(seams_)) letters += 'c';
  if (codes_.found < codes_.due || codes_.false_ones > 0) letters += 'n';
  if (voices_.found_s < 0.5 * voices_.due_s || voices_.false_s > 0.0) letters += 'v';
  return letters;
}

std::string heading() {
  return fmt::format(
             "{:<14} {:<35} {:^11} {:^23} {:>5} {:>6} {:>7} {:>6} {:^26} {:^8} {:^11} {:>5}\n",
             "row", "sessions", "tracks", "error, us", "limit", "drift", "stated", "held", "seams",
             "findings", "voices, s", "wall") +
         fmt::format(
             "{:<14} {:<35} {:>3} {:>3} {:>3} {:>7} {:>7} {:>7} {:>5} {:>6} {:>7} {:>6} {:>7} "
             "{:>2} {:>2} {:>6} {:>5} {:>5} {:>2} {:>7} {:>3} {:>5}\n",
             "", "", "fm", "sh", "un", "median", "99 %", "max", "us", "ppm", "us", "%", "found",
             "+", "wc", "us", "ms", "found", "+", "found", "+", "s");
}

std::string Row::line(const std::string& name, const std::string& about, double limit_us,
                      bool must_be_firm) const {
  double drift_ppm = 0.0;
  double stated_us = 0.0;
  for (const TrackOutcome& track : tracks_) {
    drift_ppm = std::max(drift_ppm, track.drift_error_ppm.value_or(0.0));
    if (track.placed()) stated_us = std::max(stated_us, track.bound.stated_us);
  }
  return fmt::format(
      "{:<14} {:<35} {:>3} {:>3} {:>3} {:>7} {:>7} {:>7} {:>5} {:>6.3f} {:>7} {:>6.1f} {:>7} "
      "{:>2} {:>2} {:>6} {:>5.0f} {:>5} {:>2} {:>7} {:>3.0f} {:>5.1f} {}\n",
      name, about, count(Standing::firm), count(Standing::shaky), count(Standing::unplaced),
      figure(error_us(0.5)), figure(error_us(0.99)), figure(worst_us()),
      limit_us > 0.0 ? fmt::format("{:.0f}", limit_us) : "-", drift_ppm, figure(stated_us),
      held_percent(), fmt::format("{}/{}", seams_.found, seams_.due), seams_.false_ones,
      seams_.wrong_cause, figure(seams_.worst_step_us), seams_.worst_place_ms,
      fmt::format("{}/{}", codes_.found, codes_.due), codes_.false_ones,
      fmt::format("{:.0f}/{:.0f}", voices_.found_s, voices_.due_s), voices_.false_s, align_s_,
      complaints(limit_us, must_be_firm));
}

std::string legend() {
  return "tracks: firm, shaky, unplaced. error: away from seams. drift: the largest error. "
         "stated:\n"
         "the largest bound. held: tracks within their bound (of a spliced stream: not more than "
         "half a\nsplice beyond it). seams of 20 ms and more with speech on both sides: found "
         "within "
         "50 ms of the\nseam or its pause, + false ones, wc blamed on the wrong cause, largest "
         "error "
         "of the step and of the\nplace. voices: missing ones. wall: of aligning on one thread. "
         "Letters: e error beyond the limit, f not\nfirm or a stranger placed, w wrong firm, s "
         "seams "
         "missed, c seams false or badly measured, n findings\nmissed or false, v voices missed or "
         "false.\n";
}

std::string reliability_table(const std::vector<TrackOutcome>& tracks) {
  std::vector<Class> classes(5);
  const double limits_us[] = {10.0, 20.0, 50.0, 200.0, INFINITY};
  for (std::size_t i = 0; i < classes.size(); ++i) classes[i].below_us = limits_us[i];
  const auto class_of = [&](double stated_us) -> Class& {
    return *std::find_if(classes.begin(), classes.end() - 1,
                         [&](const Class& c) { return stated_us < c.below_us; });
  };
  Class all;
  for (const TrackOutcome& track : tracks) {
    if (!track.placed() || track.bound.worst_us < 0.0) continue;
    for (Class* c : {&class_of(track.bound.stated_us), &all}) {
      ++c->tracks;
      c->inside += track.bound.holds();
    }
    for (const Bound& span : track.spans) {
      if (span.worst_us < 0.0) continue;
      for (Class* c : {&class_of(span.stated_us), &all}) {
        ++c->spans;
        c->spans_inside += span.holds();
      }
    }
  }
  const auto share = [](int part, int whole) {
    return whole == 0 ? std::string("-") : fmt::format("{:.1f}", 100.0 * part / whole);
  };
  std::string text = fmt::format("{:<16} {:>7} {:>10} {:>7} {:>10}\n", "stated, us", "tracks",
                                 "inside, %", "spans", "inside, %");
  const auto add = [&](const std::string& label, const Class& c) {
    text += fmt::format("{:<16} {:>7} {:>10} {:>7} {:>10}\n", label, c.tracks,
                        share(c.inside, c.tracks), c.spans, share(c.spans_inside, c.spans));
  };
  for (const Class& c : classes)
    add(std::isinf(c.below_us) ? "200 and more" : fmt::format("below {:.0f}", c.below_us), c);
  add("all", all);
  return text;
}

std::string track_line(const TrackOutcome& track) {
  return fmt::format(
      "    {:<18} {:<8} worst {:>9.2f} us  stated {:>8.2f} us  drift {:>8.4f} ppm  covered "
      "{:>5.1f} %  {} spans{}{}\n",
      track.name, to_text(track.standing), track.bound.worst_us, track.bound.stated_us,
      track.drift_error_ppm.value_or(0.0), 100.0 * track.covered, track.spans.size(),
      track.placed() && !track.bound.holds() ? "  BEYOND ITS BOUND" : "",
      track.wrong_firm() ? "  WRONG FIRM" : "");
}

}  // namespace kilter::accuracy
