#include "accuracy/judge.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>

#include "simulator/truth.h"

namespace kilter::accuracy {
namespace {

using simulator::Input;
using simulator::TrueSeam;

constexpr double kWrong_us = 1000.0;     // an error beyond this is a wrong placing, not a rough one
constexpr double kPlace_s = 0.05;        // beyond the pause, to count as found
constexpr double kQuiet = 0.01;          // of the loud tenth around
constexpr double kSameSeam_s = 2.0;      // beyond the pause: the same seam, badly placed
constexpr double kLeastStep_s = 0.0199;  // 20 ms, less what a fast clock takes off
constexpr double kLongestPause_s = 3600.0;
constexpr double kTelling_s = 1.5;  // so much speech in the mix tells where a stretch belongs

std::vector<int> people_behind(const Session& session, int track, const TrueSeam& seam) {
  std::vector<int> people;
  for (std::size_t i = 0; i < session.sound.tracks.size(); ++i) {
    const bool same_recorder =
        track >= 0 && session.sound.tracks[i].recorder ==
                          session.sound.tracks[static_cast<std::size_t>(track)].recorder;
    if (seam.cause == "mix" || static_cast<int>(i) == track ||
        (seam.cause == "recorder" && same_recorder))
      people.push_back(static_cast<int>(i));
  }
  return people;
}

/// How long nobody of `people` has been speaking at a moment, and how long nobody will: within the
/// mix, since what is said before or after it can tell nothing.
double quiet_before_s(const Session& session, const std::vector<int>& people, double line_s) {
  double quiet_s = kLongestPause_s;
  for (const auto& u : session.sound.talk)
    if (std::find(people.begin(), people.end(), u.person) != people.end() &&
        u.line_from_s < line_s && u.line_from_s + u.length_s > 0.0)
      quiet_s = std::min(quiet_s, std::max(0.0, line_s - (u.line_from_s + u.length_s)));
  return quiet_s;
}

double quiet_after_s(const Session& session, const std::vector<int>& people, double line_s) {
  double quiet_s = kLongestPause_s;
  for (const auto& u : session.sound.talk)
    if (std::find(people.begin(), people.end(), u.person) != people.end() &&
        u.line_from_s + u.length_s > line_s && u.line_from_s < session.order.spec.length_s)
      quiet_s = std::min(quiet_s, std::max(0.0, u.line_from_s - line_s));
  return quiet_s;
}

/// Where a seam may be put, in the file's time: the seam itself (of a repeated stretch, either of
/// the two) and the pause around it.
struct Place {
  const TrueSeam* seam{nullptr};
  double from_s{0.0};
  double to_s{0.0};
  bool due{false};
  bool taken{false};

  double beyond_s(double at_s) const { return std::max({0.0, from_s - at_s, at_s - to_s}); }
};

/// Widens a place by the silence that the recording itself holds around it: there are pauses within
/// sentences, too.
void widen_by_silence(const AnalysisSignal& sound, Place& place) {
  constexpr std::int64_t kBin = kAnalysisRateHz / 100;
  constexpr std::int64_t kReach = 100;  // bins
  constexpr std::int64_t kAround = 500;
  const auto bin_at = [](double s) {
    return static_cast<std::int64_t>(std::floor(s * kAnalysisRateHz / kBin));
  };
  const std::int64_t first = bin_at(place.seam->track_from_s) - kAround;
  const std::int64_t count = bin_at(place.seam->track_to_s) + kAround - first;
  std::vector<float> samples(static_cast<std::size_t>(count * kBin));
  if (!sound.read(first * kBin, samples)) return;
  std::vector<double> powers(static_cast<std::size_t>(count), 0.0);
  for (std::size_t i = 0; i < samples.size(); ++i)
    powers[i / kBin] += static_cast<double>(samples[i]) * static_cast<double>(samples[i]);
  std::vector<double> sorted = powers;
  std::sort(sorted.begin(), sorted.end());
  const double quiet = kQuiet * sorted[sorted.size() * 9 / 10];
  const auto is_quiet = [&](std::int64_t bin) {
    return bin >= 0 && bin < count && powers[static_cast<std::size_t>(bin)] < quiet;
  };
  const std::int64_t from = bin_at(place.seam->track_from_s) - first;
  const std::int64_t to = bin_at(place.seam->track_to_s) - first;
  std::int64_t before = 0;
  std::int64_t after = 0;
  while (before < kReach && is_quiet(from - 1 - before)) ++before;
  while (after < kReach && is_quiet(to + 1 + after)) ++after;
  constexpr double kBin_s = static_cast<double>(kBin) / kAnalysisRateHz;
  place.from_s =
      std::min(place.from_s, place.seam->track_from_s - static_cast<double>(before) * kBin_s);
  place.to_s = std::max(place.to_s, place.seam->track_to_s + static_cast<double>(after) * kBin_s);
}

/// `sound` is the file as it was heard, the mix's where `track` is below 0.
std::vector<Place> places_of(const Session& session, int track, const AnalysisSignal& sound,
                             const std::vector<TrueSeam>& seams) {
  // A voice's own microphone tells best where it pauses: what a recorder lost, its other files did.
  const auto siblings = [&](const TrueSeam& seam) {
    std::vector<const AnalysisSignal*> signals{&sound};
    for (std::size_t k = 0; k < session.inputs.size() && seam.cause == "recorder"; ++k)
      if (session.truth[k] >= 0 &&
          session.sound.tracks[static_cast<std::size_t>(session.truth[k])].recorder ==
              session.sound.tracks[static_cast<std::size_t>(track)].recorder)
        signals.push_back(session.inputs[k].signal);
    return signals;
  };
  // Under a wrong header a second of the file is none of the timeline.
  double per_second = 1.0;
  if (track >= 0) {
    const simulator::Clock& clock = session.sound.tracks[static_cast<std::size_t>(track)].clock;
    per_second = clock.rate_hz / clock.file_rate_hz();
  }
  std::vector<Place> places;
  for (const TrueSeam& seam : seams) {
    const std::vector<int> people = people_behind(session, track, seam);
    Place place{&seam, seam.track_from_s, seam.track_to_s, false, false};
    if (seam.repeated) place.from_s -= seam.track_to_s - seam.track_from_s;
    place.from_s -= per_second * quiet_before_s(session, people, seam.line_s);
    place.to_s += per_second * quiet_after_s(session, people, seam.line_after_s);
    for (const AnalysisSignal* signal : siblings(seam)) widen_by_silence(*signal, place);
    const bool in_mix = seam.line_s > 5.0 && seam.line_after_s < session.order.spec.length_s - 5.0;
    const bool live =
        track < 0 ||
        session.order.spec.people[static_cast<std::size_t>(track)].input == Input::live;
    place.due = in_mix && live && seam.speech_near && std::abs(seam.step_s) >= kLeastStep_s;
    places.push_back(place);
  }
  return places;
}

Place* nearest(std::vector<Place>& places, double at_s) {
  Place* best = nullptr;
  for (Place& place : places)
    if (!place.taken && place.beyond_s(at_s) <= kSameSeam_s &&
        (best == nullptr || place.beyond_s(at_s) < best->beyond_s(at_s)))
      best = &place;
  return best;
}

std::string remark(const std::string& what, const std::string& file, double at_s, double step_s,
                   const std::string& cause) {
  return fmt::format("{} {} at {:.3f} s, step {:+.6f} s, cause {}", what, file, at_s, step_s,
                     cause);
}

/// A reported seam that is none, or is somebody else's: `elsewhere` tells which.
void tally_false(const Finding& finding, const std::string& file, bool elsewhere,
                 SeamTally& tally) {
  ++(elsewhere ? tally.wrong_cause : tally.false_ones);
  tally.remarks.push_back(remark(elsewhere ? "seam of another in" : "false seam in", file,
                                 finding.at_s.value_or(0.0), finding.step_s.value_or(0.0),
                                 finding.cause.value_or("-")));
}

void tally_found(const Finding& finding, const Place& place, const std::string& file,
                 SeamTally& tally) {
  const double beyond_s = place.beyond_s(*finding.at_s);
  const double step_error_us = 1e6 * std::abs(finding.step_s.value_or(0.0) - place.seam->step_s);
  const bool blamed_right = finding.cause.value_or("") == place.seam->cause;
  tally.worst_place_ms = std::max(tally.worst_place_ms, 1e3 * beyond_s);
  tally.worst_step_us = std::max(tally.worst_step_us, step_error_us);
  tally.found += beyond_s <= kPlace_s;
  tally.wrong_cause += !blamed_right;
  if (beyond_s > kPlace_s || !blamed_right || step_error_us > 100.0)
    tally.remarks.push_back(remark("badly told seam in", file, *finding.at_s,
                                   finding.step_s.value_or(0.0), finding.cause.value_or("-")) +
                            fmt::format("; truth {:.3f}..{:.3f} s, {:+.6f} s, {}",
                                        place.seam->track_from_s, place.seam->track_to_s,
                                        place.seam->step_s, place.seam->cause));
}

/// `elsewhere` tells whether a seam of another kind lies at a reported one.
void tally_seams(const std::vector<Finding>& findings, const std::string& code,
                 const std::string& file, std::vector<Place> places,
                 const std::function<bool(const Finding&)>& elsewhere, SeamTally& tally) {
  for (const Finding& finding : findings) {
    if (finding.code != code || !finding.at_s) continue;
    Place* place = nearest(places, *finding.at_s);
    if (place == nullptr) {
      tally_false(finding, file, elsewhere(finding), tally);
      continue;
    }
    place->taken = true;
    if (place->due) tally_found(finding, *place, file, tally);
  }
  for (const Place& place : places) {
    tally.due += place.due;
    if (place.due && !place.taken)
      tally.remarks.push_back(remark("missed seam in", file, place.seam->track_from_s,
                                     place.seam->step_s, place.seam->cause));
  }
}

bool near_a_seam(const std::vector<TrueSeam>& seams, double line_s) {
  return std::any_of(seams.begin(), seams.end(), [&](const TrueSeam& seam) {
    return line_s > seam.line_s - 5.0 && line_s < seam.line_after_s + 5.0;
  });
}

SeamTally seams_of(const Session& session, const sync::Alignment& alignment) {
  SeamTally tally;
  const simulator::Session& sound = session.sound;
  for (std::size_t k = 0; k < session.inputs.size(); ++k) {
    const int t = session.truth[k];
    const std::vector<TrueSeam> none;
    const auto& seams = t < 0 ? none : sound.tracks[static_cast<std::size_t>(t)].seams;
    tally_seams(
        alignment.tracks[k].findings, "seam", session.inputs[k].name,
        places_of(session, t, *session.inputs[k].signal, seams),
        [&](const Finding& f) { return f.line_s && near_a_seam(sound.mix_seams, *f.line_s); },
        tally);
  }
  std::vector<Finding> of_mix = alignment.mix_findings;
  of_mix.insert(of_mix.end(), alignment.findings.begin(), alignment.findings.end());
  std::vector<Place> places;
  if (session.order.has_mix) places = places_of(session, -1, *session.mix, sound.mix_seams);
  tally_seams(
      of_mix, "mix-seam", "the mix", std::move(places),
      [&](const Finding& f) {
        return f.line_s && std::any_of(sound.tracks.begin(), sound.tracks.end(),
                                       [&](const simulator::SimulatedTrack& track) {
                                         return near_a_seam(track.seams, *f.line_s);
                                       });
      },
      tally);
  return tally;
}

/// World second of a timeline second: the same where the mix is the clock; else by way of the track
/// whose own time is the timeline, the only one that is firm then.
class World {
 public:
  World(const Session& session, const sync::Alignment& alignment) : session_(session) {
    if (session.order.has_mix) return;
    for (std::size_t k = 0; k < session.inputs.size() && reference_ == nullptr; ++k) {
      if (session.truth[k] < 0 || alignment.tracks[k].standing != Standing::firm) continue;
      reference_ = &*alignment.tracks[k].map;
      track_ = static_cast<std::size_t>(session.truth[k]);
    }
  }
  double of_line(double line_s) const {
    if (reference_ == nullptr) return line_s;
    const Span& first = reference_->spans().front();
    const double beyond_s = first.from_s + (line_s - first.line_from_s) / first.rate();
    return session_.sound.line_of(track_, reference_->to_track(line_s).value_or(beyond_s));
  }

 private:
  const Session& session_;
  const TimeMap* reference_{nullptr};
  std::size_t track_{0};
};

/// What a silent file's siblings say of its place, the lineup tells; here it has none.
bool placeable(const Session& session, int t) {
  const auto& person = session.order.spec.people[static_cast<std::size_t>(t)];
  return person.input != Input::silent && person.input != Input::dead;
}

/// How long a person's file is; 0 where it is withheld.
double held_s(const Session& session, int person) {
  for (std::size_t k = 0; k < session.inputs.size(); ++k)
    if (session.truth[k] == person) return session.inputs[k].length_s;
  return 0.0;
}

/// How long those who bear witness to a seam speak in the mix between two moments of the timeline.
double telling_s(const Session& session, int track, const TrueSeam& seam, double from_s,
                 double to_s) {
  double sum_s = 0.0;
  for (const int person : people_behind(session, track, seam)) {
    const auto& spec = session.order.spec.people[static_cast<std::size_t>(person)];
    if (spec.withheld || spec.input != Input::live) continue;
    const auto& own = session.sound.tracks[static_cast<std::size_t>(person)];
    sum_s += simulator::spoken_s(
        session.sound.talk, person, std::max({from_s, 0.0, own.line_of(0.0)}),
        std::min({to_s, session.order.spec.length_s, own.line_of(held_s(session, person))}));
  }
  return sum_s;
}

/// A stretch of the timeline on one side of a seam that nobody can place: from the seam to the next
/// one, or to the mix's end, hardly a word is said of those who could tell.
struct Untold {
  double from_s{0.0};
  double to_s{0.0};
};

void add_untold(const Session& session, int track, const std::vector<TrueSeam>& seams,
                std::vector<Untold>& untold) {
  for (std::size_t i = 0; i < seams.size(); ++i) {
    const double from_s = i > 0 ? seams[i - 1].line_after_s : -kLongestPause_s;
    const double to_s = i + 1 < seams.size() ? seams[i + 1].line_s : kLongestPause_s;
    if (telling_s(session, track, seams[i], from_s, seams[i].line_s) < kTelling_s)
      untold.push_back({from_s, seams[i].line_s});
    if (telling_s(session, track, seams[i], seams[i].line_after_s, to_s) < kTelling_s)
      untold.push_back({seams[i].line_after_s, to_s});
  }
}

void measure_errors(const Session& session, std::size_t k, const TimeMap& map, const World& world,
                    TrackOutcome& outcome) {
  constexpr int kPlaces = 200;
  const int t = session.truth[k];
  const auto& track = session.sound.tracks[static_cast<std::size_t>(t)];
  const std::vector<Place> seams = places_of(session, t, *session.inputs[k].signal, track.seams);
  std::vector<Untold> untold;
  add_untold(session, t, track.seams, untold);
  add_untold(session, t, session.sound.mix_seams, untold);
  // Of a stream that stands still between splices the mix tells the line to half of one.
  const double told_us =
      0.5e6 * session.order.spec.people[static_cast<std::size_t>(t)].stream.staircase_s;
  for (const Span& span : map.spans()) outcome.spans.push_back({span.uncertainty_us, -1.0});
  int tried = 0;
  for (int i = 0; i <= kPlaces; ++i) {
    const double track_s = session.inputs[k].length_s * i / kPlaces;
    if (std::any_of(seams.begin(), seams.end(),
                    [&](const Place& p) { return p.beyond_s(track_s) <= kPlace_s; }))
      continue;
    const double truth_s = track.line_of(i < kPlaces ? track_s : track_s - 1e-6);
    if (std::any_of(untold.begin(), untold.end(),
                    [&](const Untold& u) { return truth_s > u.from_s && truth_s < u.to_s; }))
      continue;
    ++tried;
    // The file's very end may lie a rounding beyond the last span.
    const auto line_s = map.to_line(i < kPlaces ? track_s : track_s - 1e-6);
    if (!line_s) continue;
    const double error_us = 1e6 * std::abs(world.of_line(*line_s) - truth_s);
    outcome.errors_us.push_back(error_us);
    const double bound_error_us = std::max(0.0, error_us - told_us);
    outcome.bound.worst_us = std::max(outcome.bound.worst_us, bound_error_us);
    for (std::size_t s = 0; s < outcome.spans.size(); ++s) {
      const Span& span = map.spans()[s];
      if (track_s >= span.from_s && track_s <= span.to_s)
        outcome.spans[s].worst_us = std::max(outcome.spans[s].worst_us, bound_error_us);
    }
  }
  outcome.covered =
      static_cast<double>(outcome.errors_us.size()) / static_cast<double>(std::max(tried, 1));
}

TrackOutcome outcome_of(const Session& session, const sync::Alignment& alignment, std::size_t k,
                        const World& world) {
  const sync::TrackPlacing& placing = alignment.tracks[k];
  TrackOutcome outcome;
  outcome.name = session.inputs[k].name;
  outcome.standing = placing.standing;
  outcome.foreign = session.truth[k] < 0;
  outcome.bound.stated_us = placing.uncertainty_us;
  if (outcome.foreign) {
    outcome.placeable = false;
    return outcome;
  }
  outcome.placeable = placeable(session, session.truth[k]);
  if (!placing.map) return outcome;
  measure_errors(session, k, *placing.map, world, outcome);
  if (session.order.has_mix)
    outcome.drift_error_ppm = std::abs(placing.map->drift_ppm() - session.drifts_ppm[k]);
  return outcome;
}

enum class Expected { no, maybe, yes };

Expected expect_excursion(const Session& session, int t) {
  const auto& stream = session.order.spec.people[static_cast<std::size_t>(t)].stream;
  if (stream.staircase_s > 0.0) return Expected::maybe;
  for (const simulator::Excursion& e : stream.excursions)
    if (std::abs(e.size_s) >= 0.01 &&
        simulator::spoken_s(session.sound.talk, t, e.line_s, e.line_s + e.length_s) >= 1.0)
      return Expected::yes;
  return stream.excursions.empty() ? Expected::no : Expected::maybe;
}

/// A leak is due where it is loud enough, from somebody whose own file tells how he sounds, and who
/// says something.
Expected expect_leak(const Session& session, const simulator::Person& person) {
  if (person.input == Input::mixer_mix || person.input == Input::copy) return Expected::maybe;
  for (const simulator::Leak& leak : person.leaks) {
    const auto& source = session.order.spec.people[static_cast<std::size_t>(leak.from)];
    const double said_s =
        simulator::spoken_s(session.sound.talk, leak.from, 0.0, session.order.spec.length_s);
    if (leak.level_db >= -25.0 && !source.withheld && source.input == Input::live && said_s >= 10.0)
      return Expected::yes;
  }
  return person.leaks.empty() ? Expected::no : Expected::maybe;
}

/// An interface's stereo mix: either of its two is the other's copy as well.
bool is_one_of_two_mixes(const std::vector<simulator::Person>& people, int t) {
  return people[static_cast<std::size_t>(t)].input == Input::mixer_mix &&
         std::count_if(people.begin(), people.end(), [](const simulator::Person& person) {
           return person.input == Input::mixer_mix;
         }) > 1;
}

bool is_copied(const std::vector<simulator::Person>& people, int t) {
  return std::any_of(people.begin(), people.end(), [&](const simulator::Person& other) {
    return other.input == Input::copy && other.copy_of == t;
  });
}

Expected expect(const Session& session, int t, const std::string& code) {
  if (t < 0) return Expected::no;
  const auto& people = session.order.spec.people;
  const simulator::Person& person = people[static_cast<std::size_t>(t)];
  const auto& track = session.sound.tracks[static_cast<std::size_t>(t)];
  const auto yes = [](bool is_so) { return is_so ? Expected::yes : Expected::no; };
  if (code == "inverted") {
    const bool sounds = person.input != Input::silent && person.input != Input::dead;
    return sounds ? yes(track.inverted) : Expected::maybe;
  }
  if (code == "wrong-rate")
    return yes(std::abs(track.clock.file_rate_hz() / track.clock.rate_hz - 1.0) > 1e-4);
  const bool is_stereo_mix = is_one_of_two_mixes(people, t);
  if (code == "mix-copy")
    return is_stereo_mix ? Expected::maybe : yes(person.input == Input::mixer_mix);
  if (code == "duplicate")
    return is_stereo_mix || is_copied(people, t) ? Expected::maybe
                                                 : yes(person.input == Input::copy);
  if (code == "leak") return expect_leak(session, person);
  return expect_excursion(session, t);
}

bool says(const sync::TrackPlacing& placing, const std::string& code) {
  if (code == "inverted") return placing.map && placing.inverted;
  return std::any_of(placing.findings.begin(), placing.findings.end(),
                     [&](const Finding& f) { return f.code == code; });
}

CodeTally codes_of(const Session& session, const sync::Alignment& alignment) {
  CodeTally tally;
  for (std::size_t k = 0; k < session.inputs.size(); ++k)
    for (const char* code :
         {"inverted", "wrong-rate", "mix-copy", "duplicate", "leak", "excursion"}) {
      const Expected expected = expect(session, session.truth[k], code);
      const bool said = says(alignment.tracks[k], code);
      const std::string which = session.inputs[k].name + ": " + code;
      if (expected == Expected::yes) {
        ++tally.due;
        tally.found += said;
        if (!said) tally.missed.push_back(which);
      }
      if (expected == Expected::no && said) {
        ++tally.false_ones;
        tally.wrong.push_back(which);
      }
    }
  for (std::size_t k = 0; k < session.inputs.size(); ++k) {
    if (session.truth[k] < 0 || !is_one_of_two_mixes(session.order.spec.people, session.truth[k]))
      continue;
    const bool said =
        says(alignment.tracks[k], "mix-copy") || says(alignment.tracks[k], "duplicate");
    ++tally.due;
    tally.found += said;
    if (!said) tally.missed.push_back(session.inputs[k].name + ": mix-copy or duplicate");
  }
  return tally;
}

constexpr double kGrid_s = 0.25;

bool has_own_voice(const Session& session, int person) {
  return session.order.spec.people[static_cast<std::size_t>(person)].input == Input::live;
}

/// Whether a person's file is there and holds his voice at a moment of the timeline.
bool holds(const Session& session, int person, double line_s) {
  const auto& track = session.sound.tracks[static_cast<std::size_t>(person)];
  if (track.withheld || !has_own_voice(session, person)) return false;
  for (std::size_t k = 0; k < session.inputs.size(); ++k) {
    if (session.truth[k] != person) continue;
    const double own_s = track.clock.own_of(line_s - track.way_delay_s);
    const auto file_s = track.file.file_of(own_s);
    return own_s >= 0.0 && file_s &&
           *file_s * track.clock.rate_hz / track.clock.file_rate_hz() < session.inputs[k].length_s;
  }
  return false;
}

/// Marks moments, and those within a second of them.
void mark(double line_s, std::vector<char>& grid) {
  const auto middle = static_cast<std::int64_t>(line_s / kGrid_s);
  const auto reach = static_cast<std::int64_t>(1.0 / kGrid_s);
  for (std::int64_t i = middle - reach; i <= middle + reach; ++i)
    if (i >= 0 && i < static_cast<std::int64_t>(grid.size())) grid[static_cast<std::size_t>(i)] = 1;
}

/// A guest's voice is due where his file is withheld or holds nothing. Words that no file holds for
/// another reason may be reported or not: he had not pressed the button yet, or a neighbour's
/// microphone has them.
VoiceTally voices_of(const Session& session, const sync::Alignment& alignment) {
  VoiceTally tally;
  const auto count = static_cast<std::size_t>(session.order.spec.length_s / kGrid_s) + 1;
  std::vector<char> due(count, 0);
  std::vector<char> permitted(count, 0);
  for (const auto& u : session.sound.talk) {
    const auto& person = session.order.spec.people[static_cast<std::size_t>(u.person)];
    for (double line_s = u.line_from_s; line_s < u.line_from_s + u.length_s; line_s += kGrid_s) {
      if (line_s < 0.0 || line_s >= session.order.spec.length_s ||
          !session.sound.mix_of_line(line_s) || holds(session, u.person, line_s))
        continue;
      if (person.remote && (person.withheld || person.input != Input::live))
        due[static_cast<std::size_t>(line_s / kGrid_s)] = 1;
      mark(line_s, permitted);
    }
  }
  std::vector<char> found(count, 0);
  for (const Finding& finding : alignment.findings) {
    if (finding.code != "missing-voice") continue;
    for (const Stretch& stretch : finding.stretches)
      for (double line_s = std::max(0.0, stretch.line_from_s); line_s < stretch.line_to_s;
           line_s += kGrid_s)
        if (line_s < session.order.spec.length_s)
          found[static_cast<std::size_t>(line_s / kGrid_s)] = 1;
  }
  for (std::size_t i = 0; i < count; ++i) {
    tally.due_s += due[i] != 0 ? kGrid_s : 0.0;
    tally.found_s += due[i] != 0 && found[i] != 0 ? kGrid_s : 0.0;
    tally.false_s += found[i] != 0 && permitted[i] == 0 ? kGrid_s : 0.0;
  }
  return tally;
}

}  // namespace

bool TrackOutcome::wrong_firm() const {
  return standing == Standing::firm && (foreign || bound.worst_us > kWrong_us);
}

void SeamTally::add(const SeamTally& other) {
  due += other.due;
  found += other.found;
  false_ones += other.false_ones;
  wrong_cause += other.wrong_cause;
  worst_step_us = std::max(worst_step_us, other.worst_step_us);
  worst_place_ms = std::max(worst_place_ms, other.worst_place_ms);
  remarks.insert(remarks.end(), other.remarks.begin(), other.remarks.end());
}

void CodeTally::add(const CodeTally& other) {
  due += other.due;
  found += other.found;
  false_ones += other.false_ones;
  missed.insert(missed.end(), other.missed.begin(), other.missed.end());
  wrong.insert(wrong.end(), other.wrong.begin(), other.wrong.end());
}

void VoiceTally::add(const VoiceTally& other) {
  due_s += other.due_s;
  found_s += other.found_s;
  false_s += other.false_s;
}

Outcome judge(const Session& session, const sync::Alignment& alignment) {
  Outcome outcome;
  const World world(session, alignment);
  for (std::size_t k = 0; k < session.inputs.size(); ++k) {
    outcome.tracks.push_back(outcome_of(session, alignment, k, world));
    outcome.track_hours += session.inputs[k].length_s / 3600.0;
  }
  outcome.seams = seams_of(session, alignment);
  outcome.codes = codes_of(session, alignment);
  outcome.voices = voices_of(session, alignment);
  return outcome;
}

}  // namespace kilter::accuracy
