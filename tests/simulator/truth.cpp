#include "truth.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace kilter::simulator {
namespace {

constexpr double kNear_s = 5.0;
constexpr double kEnoughSpeech_s = 1.5;
constexpr double kSilence_s = 0.25;  // on either side, to be in a pause

/// Everybody of that recorder whose file is there; of all recorders where `recorder` is -1.
std::vector<int> people_of(const Session& session, int recorder) {
  std::vector<int> people;
  for (std::size_t i = 0; i < session.tracks.size(); ++i)
    if (!session.tracks[i].withheld && (recorder < 0 || session.tracks[i].recorder == recorder))
      people.push_back(static_cast<int>(i));
  return people;
}

bool speech_near(const Session& session, const std::vector<int>& people, const TrueSeam& seam) {
  return speech_on_both_sides(session.talk, people, seam.line_s, seam.line_after_s);
}

std::vector<TrueSeam> file_seams(const Session& session, int person) {
  const SimulatedTrack& track = session.tracks[static_cast<std::size_t>(person)];
  const double rate_hz = track.clock.rate_hz;
  const std::vector<int> siblings = people_of(session, track.recorder);
  std::vector<TrueSeam> seams;
  for (const Cut& cut : track.file.cuts()) {
    const auto own_s = [&](std::int64_t frame) { return static_cast<double>(frame) / rate_hz; };
    const auto track_s = [&](std::int64_t frame) {
      return static_cast<double>(frame) / track.clock.file_rate_hz() + track.stored_delay_s;
    };
    TrueSeam seam;
    seam.track_from_s = track_s(cut.file_from);
    seam.track_to_s = track_s(cut.file_to);
    seam.repeated = cut.repeated;
    seam.line_s = track.line_of_own(own_s(cut.source_before));
    seam.line_after_s = track.line_of_own(own_s(cut.source_after));
    const std::int64_t expected = cut.source_before + cut.file_to - cut.file_from;
    seam.step_s =
        track.clock.line_of(own_s(cut.source_after)) - track.clock.line_of(own_s(expected));
    const bool shared = cut.shared && siblings.size() > 1;
    seam.cause = shared ? "recorder" : "track";
    seam.speech_near = speech_near(session, shared ? siblings : std::vector<int>{person}, seam);
    seams.push_back(seam);
  }
  return seams;
}

std::vector<TrueSeam> stream_seams(const Session& session, int person) {
  const SimulatedTrack& track = session.tracks[static_cast<std::size_t>(person)];
  const double scale = track.clock.rate_hz / track.clock.file_rate_hz();
  const double own_end_s = track.file.source_of(track.length_s() / scale);
  std::vector<TrueSeam> seams;
  double before_s = 0.0;
  for (const HeardStep& heard : track.steps) {
    TrueSeam seam;
    seam.step_s = heard.added_s - before_s;
    before_s = heard.added_s;
    // Later: what was said just before is heard again. Earlier: what is said next is not heard.
    const double from_own_s = track.clock.own_of(heard.world_s - std::max(0.0, seam.step_s));
    const double to_own_s = track.clock.own_of(heard.world_s + std::max(0.0, -seam.step_s));
    const auto from_s = track.file.file_of(from_own_s);
    const auto to_s = track.file.file_of(to_own_s);
    // The recording has not begun, is over, or lost that moment: then nothing steps there.
    if (from_own_s <= 0.0 || to_own_s >= own_end_s || !from_s || !to_s) continue;
    seam.track_from_s = *from_s * scale + track.stored_delay_s;
    seam.track_to_s = *to_s * scale + track.stored_delay_s;
    const double at_s = heard.world_s + heard.added_s - seam.step_s + track.way_delay_s;
    seam.line_s = at_s - std::max(0.0, seam.step_s);
    seam.line_after_s = at_s + std::max(0.0, seam.step_s);
    seam.cause = "stream";
    seam.speech_near = speech_near(session, {person}, seam);
    seams.push_back(seam);
  }
  return seams;
}

std::vector<TrueSeam> seams_of_mix(const Session& session) {
  std::vector<TrueSeam> seams;
  for (const Cut& cut : session.mix_file.cuts()) {
    const auto second = [&](std::int64_t frame) {
      return static_cast<double>(frame) / session.mix_rate_hz + session.mix_delay_s;
    };
    TrueSeam seam;
    seam.track_from_s = second(cut.file_from);
    seam.track_to_s = second(cut.file_to);
    seam.repeated = cut.repeated;
    seam.line_s = second(cut.source_before);
    seam.line_after_s = second(cut.source_after);
    const std::int64_t step = cut.source_after - cut.source_before - (cut.file_to - cut.file_from);
    seam.step_s = static_cast<double>(step) / session.mix_rate_hz;
    seam.cause = "mix";
    seam.speech_near = speech_near(session, people_of(session, -1), seam);
    seams.push_back(seam);
  }
  return seams;
}

}  // namespace

double Clock::line_of(double own_s) const {
  double line_s = start_s + own_s / (1.0 + drift_ppm * 1e-6);
  if (warm_up.ppm != 0.0) {
    const double gained_s = warm_up.time_constant_s * -std::expm1(-own_s / warm_up.time_constant_s);
    line_s -= warm_up.ppm * 1e-6 * gained_s;
  }
  if (swing.ppm != 0.0) {
    const double turn = 2.0 * std::numbers::pi;
    const double gained_s =
        swing.period_s / turn *
        (std::cos(turn * swing.phase) - std::cos(turn * (own_s / swing.period_s + swing.phase)));
    line_s -= swing.ppm * 1e-6 * gained_s;
  }
  return line_s;
}

double Clock::own_of(double line_s) const {
  double own_s = line_s - start_s;
  // The clock is at most a few percent wrong: each round makes the error 30 times smaller.
  for (int i = 0; i < 12; ++i) own_s += line_s - line_of(own_s);
  return own_s;
}

double SimulatedTrack::line_of_own(double own_s) const {
  const double world_s = clock.line_of(own_s);
  double added_s = 0.0;
  for (const HeardStep& step : steps)
    if (world_s >= step.world_s) added_s = step.added_s;
  return world_s + way_delay_s + added_s;
}

double SimulatedTrack::line_of(double track_s) const {
  const double since_s = track_s - stored_delay_s;
  const double own_s =
      clock.header_rate_hz > 0.0 ? since_s * (clock.header_rate_hz / clock.rate_hz) : since_s;
  return line_of_own(file.source_of(own_s));
}

double Session::line_of_mix(double mix_s) const {
  return mix_file.source_of(mix_s - mix_delay_s) + mix_delay_s;
}

std::optional<double> Session::mix_of_line(double line_s) const {
  const auto mix_s = mix_file.file_of(line_s - mix_delay_s);
  if (!mix_s) return {};
  return *mix_s + mix_delay_s;
}

bool speech_on_both_sides(const std::vector<Utterance>& talk, const std::vector<int>& people,
                          double end_s, double again_s) {
  double before_s = 0.0;
  double after_s = 0.0;
  for (const int person : people) {
    before_s += spoken_s(talk, person, end_s - kNear_s, end_s);
    after_s += spoken_s(talk, person, again_s, again_s + kNear_s);
  }
  return before_s >= kEnoughSpeech_s && after_s >= kEnoughSpeech_s;
}

double amid_speech(const std::vector<Utterance>& talk, const std::vector<int>& people,
                   double line_s, double gap_s, bool in_pause) {
  constexpr double kFarthest_s = 30.0;
  constexpr double kStep_s = 0.25;
  const auto is_silent = [&](double at_s) {
    return std::all_of(people.begin(), people.end(), [&](int person) {
      return spoken_s(talk, person, at_s - kSilence_s, at_s + kSilence_s) == 0.0;
    });
  };
  for (double away_s = 0.0; away_s <= kFarthest_s; away_s += kStep_s)
    for (const double at_s : {line_s + away_s, line_s - away_s})
      if (speech_on_both_sides(talk, people, at_s, at_s + gap_s) && (!in_pause || is_silent(at_s)))
        return at_s;
  return line_s;
}

double nearest_pause(const std::vector<Utterance>& talk, int person, double line_s) {
  double best_s = line_s;
  double best_away_s = std::numeric_limits<double>::infinity();
  double silent_from_s = -std::numeric_limits<double>::infinity();
  const auto try_pause = [&](double from_s, double to_s) {
    if (to_s - from_s < 2.0 * kSilence_s) return;
    const double at_s = std::clamp(line_s, from_s + kSilence_s, to_s - kSilence_s);
    if (std::abs(at_s - line_s) >= best_away_s) return;
    best_s = at_s;
    best_away_s = std::abs(at_s - line_s);
  };
  for (const Utterance& u : talk) {
    if (u.person != person) continue;
    try_pause(silent_from_s, u.line_from_s);
    silent_from_s = u.line_from_s + u.length_s;
  }
  try_pause(silent_from_s, std::numeric_limits<double>::infinity());
  return best_s;
}

double spoken_s(const std::vector<Utterance>& talk, int person, double from_s, double to_s) {
  double sum_s = 0.0;
  for (const Utterance& u : talk)
    if (u.person == person)
      sum_s += std::max(
          0.0, std::min(to_s, u.line_from_s + u.length_s) - std::max(from_s, u.line_from_s));
  return sum_s;
}

std::vector<HeardStep> heard_steps(const std::vector<BufferStep>& steps) {
  std::vector<HeardStep> heard;
  double added_s = 0.0;
  for (const BufferStep& step : steps) {
    const double world_s = step.line_s - added_s;
    added_s += step.step_s;
    heard.push_back({world_s, added_s});
  }
  return heard;
}

double mean_drift_ppm(const SimulatedTrack& track) {
  double track_s = 0.0;
  double line_s = 0.0;
  const auto add = [&](double from_s, double line_from_s, double to_s, double line_to_s) {
    if (to_s <= from_s) return;
    track_s += to_s - from_s;
    line_s += line_to_s - line_from_s;
  };
  double from_s = 0.0;
  double line_from_s = track.line_of(0.0);
  for (const TrueSeam& seam : track.seams) {
    add(from_s, line_from_s, seam.track_from_s, seam.line_s);
    from_s = seam.track_to_s;
    line_from_s = seam.line_after_s;
  }
  add(from_s, line_from_s, track.length_s(), track.line_of(track.length_s()));
  return line_s > 0.0 ? (track_s / line_s - 1.0) * 1e6 : 0.0;
}

void find_seams(Session& session) {
  for (std::size_t i = 0; i < session.tracks.size(); ++i) {
    if (session.tracks[i].withheld) continue;
    std::vector<TrueSeam> seams = file_seams(session, static_cast<int>(i));
    for (TrueSeam& seam : stream_seams(session, static_cast<int>(i))) seams.push_back(seam);
    std::stable_sort(seams.begin(), seams.end(), [](const TrueSeam& a, const TrueSeam& b) {
      return a.track_from_s < b.track_from_s;
    });
    session.tracks[i].seams = std::move(seams);
  }
  session.mix_seams = seams_of_mix(session);
}

}  // namespace kilter::simulator
