#include "simulator.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>

#include "interpolator.h"
#include "kilter/base/parallel.h"
#include "mixdown.h"
#include "random.h"
#include "room.h"
#include "talk.h"
#include "truth.h"

namespace kilter::simulator {
namespace {

// Purposes of random streams, so that a change in one place leaves the others as they were.
enum : std::uint64_t {
  kTalkKey = 1,
  kRoomKey,
  kMicNoiseKey,
  kRecorderNoiseKey,
  kRideKey,
  kSpecKey,
  kStreamTimeKey,
  kMusicKey
};

constexpr double kLowestRate_hz = 8000.0;
constexpr double kHighestRate_hz = 384000.0;

double from_db(double db) { return std::pow(10.0, db / 20.0); }

Error senseless(std::string what) {
  return {ErrorKind::bad_command, {}, std::move(what), "correct the session's specification"};
}

Result<void> check_patching(const SessionSpec& spec, const Person& person) {
  const auto is_person = [&](int i) { return i >= 0 && i < static_cast<int>(spec.people.size()); };
  if (person.input == Input::copy &&
      (!is_person(person.copy_of) ||
       spec.people[static_cast<std::size_t>(person.copy_of)].input != Input::live))
    return senseless("\"" + person.name + "\" copies no live input");
  for (const Leak& leak : person.leaks)
    if (!is_person(leak.from) || !(leak.delay_s >= 0.0 && leak.delay_s <= 2.0))
      return senseless("a leak into \"" + person.name + "\" comes from nobody, or 2 s late");
  if (person.voice.value_or(0) < 0)
    return senseless("the voice of \"" + person.name + "\" has no number");
  return {};
}

Result<void> check(const SessionSpec& spec) {
  if (!(spec.length_s > 0.0) || spec.people.empty())
    return senseless("a session needs people and a length");
  if (!(spec.mix.rate_hz >= kLowestRate_hz && spec.mix.rate_hz <= kHighestRate_hz))
    return senseless("the mix's rate lies outside 8 to 384 kHz");
  for (const Clock& clock : spec.recorders) {
    if (!(clock.rate_hz >= kLowestRate_hz && clock.rate_hz <= kHighestRate_hz))
      return senseless("a recorder's rate lies outside 8 to 384 kHz");
    if (clock.header_rate_hz != 0.0 &&
        !(clock.header_rate_hz >= kLowestRate_hz && clock.header_rate_hz <= kHighestRate_hz))
      return senseless("the rate in a file's header lies outside 8 to 384 kHz");
    if (std::abs(clock.drift_ppm) > 1e4 || std::abs(clock.warm_up.ppm) > 1e4 ||
        std::abs(clock.swing.ppm) > 1e4)
      return senseless("a recorder's clock is more than 1 % wrong");
    if (clock.length_s < 0.0 || !std::isfinite(clock.start_s) ||
        clock.warm_up.time_constant_s <= 0 || clock.swing.period_s <= 0)
      return senseless("a recorder's start or length is no number to work with");
    if (clock.length_s == 0.0 && clock.start_s >= spec.length_s)
      return senseless("a recorder starts after the mix has ended, and no length is given");
  }
  for (const Person& person : spec.people) {
    if (person.recorder < 0 || person.recorder >= static_cast<int>(spec.recorders.size()))
      return senseless("\"" + person.name + "\" has no recorder");
    if (!(person.talk_share.value_or(0.0) >= 0.0 && person.talk_share.value_or(0.0) <= 1.0))
      return senseless("the talk share of \"" + person.name + "\" lies outside 0 to 1");
    if (auto patched = check_patching(spec, person); !patched) return patched;
  }
  return {};
}

/// Frames that the clock makes, by its own length or until the mix ends.
std::int64_t frames_of(const Clock& clock, double mix_length_s) {
  double length_s = clock.length_s;
  if (length_s == 0.0) {
    length_s = mix_length_s - clock.start_s;
    for (int i = 0; i < 8; ++i) length_s += mix_length_s - clock.line_of(length_s);
  }
  return static_cast<std::int64_t>(std::floor(length_s * clock.rate_hz));
}

/// A stretch of world frames, last not included.
struct Stretch {
  std::int64_t from{0};
  std::int64_t to{0};
  void cover(std::int64_t first, std::int64_t last) {
    from = std::min(from, first);
    to = std::max(to, last);
  }
};

class Simulation {
 public:
  Simulation(const SessionSpec& spec, const VoiceSource& voices, int threads, CodedFile files)
      : spec_(spec),
        voices_(voices),
        threads_(threads),
        files_(files),
        mix_frames_(std::llround(spec.length_s * kWorldRateHz)) {}

  Result<Session> run() {
    plan_recordings();
    plan_speech();
    if (auto done = plan_damage(); !done) return done.error();
    if (auto done = make_returns(); !done) return done.error();
    bus_.assign(static_cast<std::size_t>(mix_frames_), 0.0F);
    const int count = static_cast<int>(spec_.people.size());
    for (int first = 0; first < count; first += threads_)
      if (auto done = run_tracks(first, std::min(first + threads_, count)); !done)
        return done.error();
    copy_truth();
    if (auto done = finish_mix(); !done) return done.error();
    for (SimulatedTrack& track : session_.tracks)
      if (track.withheld) std::vector<float>().swap(track.samples);
    find_seams(session_);
    return std::move(session_);
  }

 private:
  void plan_recordings() {
    for (const Person& person : spec_.people) {
      SimulatedTrack track;
      track.name = person.name;
      track.remote = person.remote;
      track.recorder = person.recorder;
      track.inverted = person.inverted;
      track.stored = person.stored;
      track.withheld = person.withheld;
      track.clock = spec_.recorders[static_cast<std::size_t>(person.recorder)];
      const std::int64_t frames = frames_of(track.clock, spec_.length_s);
      track.samples.resize(static_cast<std::size_t>(std::max<std::int64_t>(frames, 0)));
      track.excursions = person.stream.excursions;
      spans_.push_back(span_of(track));
      session_.tracks.push_back(std::move(track));
    }
  }

  /// A recorder's damage where it is to be; `people` are those whose speech counts.
  std::vector<Damage> settled(std::vector<Damage> damage, const Clock& clock,
                              const std::vector<int>& people) const {
    if (!spec_.faults_amid_speech) return damage;
    for (Damage& d : damage) {
      const bool takes_sound = d.kind == Damage::Kind::lost || d.kind == Damage::Kind::zeros_over;
      d.at_s = clock.own_of(amid_speech(session_.talk, people, clock.line_of(d.at_s),
                                        takes_sound ? d.length_s : 0.0, false));
    }
    return damage;
  }

  std::vector<int> people_at(int recorder) const {
    std::vector<int> people;
    for (std::size_t i = 0; i < spec_.people.size(); ++i)
      if (spec_.people[i].recorder == recorder) people.push_back(static_cast<int>(i));
    return people;
  }

  Result<void> plan_damage() {
    for (std::size_t i = 0; i < spec_.people.size(); ++i) {
      SimulatedTrack& track = session_.tracks[i];
      const auto shared = settled(track.clock.damage, track.clock, people_at(track.recorder));
      const auto own = settled(spec_.people[i].damage, track.clock, {static_cast<int>(i)});
      auto file = FileMap::make(shared, own, track.clock.rate_hz,
                                static_cast<std::int64_t>(track.samples.size()));
      if (!file) return file.error();
      track.file = *std::move(file);
    }
    return {};
  }

  /// Timeline second at which the undamaged recording ends.
  static double end_of(const SimulatedTrack& track) {
    return track.clock.line_of(static_cast<double>(track.samples.size()) / track.clock.rate_hz);
  }

  /// World frames that a track's microphone must deliver: the mix and its recording.
  Stretch span_of(const SimulatedTrack& track) const {
    Stretch span{0, mix_frames_};
    const double end_s = end_of(track);
    constexpr std::int64_t kMargin = 1000;  // more than any kernel's reach
    span.cover(std::llround(track.clock.start_s * kWorldRateHz) - kMargin,
               std::llround(end_s * kWorldRateHz) + kMargin);
    return span;
  }

  void plan_speech() {
    Stretch world{0, mix_frames_};
    for (const Stretch& span : spans_) world.cover(span.from, span.to);
    std::vector<Running> recorded;
    for (const SimulatedTrack& track : session_.tracks)
      recorded.push_back({track.clock.start_s, end_of(track)});
    Random random{spec_.seed, kTalkKey};
    session_.talk = session_talk(random.bits(), spec_, recorded,
                                 {static_cast<double>(world.from) / kWorldRateHz,
                                  static_cast<double>(world.to) / kWorldRateHz});
    speech_.resize(session_.talk.size());
    std::vector<int> index(session_.talk.size());
    std::map<int, int> said;  // by voice
    for (std::size_t i = 0; i < speech_.size(); ++i)
      index[i] = said[voice_of(spec_.people, session_.talk[i].person)]++;
    parallel_for(static_cast<int>(speech_.size()), threads_, [&](int i) {
      const auto at = static_cast<std::size_t>(i);
      const Utterance& utterance = session_.talk[at];
      Speech& speech = speech_[at];
      speech.person = utterance.person;
      speech.first_frame = std::llround(utterance.line_from_s * kWorldRateHz);
      speech.samples = voices_.utterance(voice_of(spec_.people, utterance.person), index[at],
                                         std::llround(utterance.length_s * kWorldRateHz));
      make_dull(speech);
    });
  }

  /// What the microphone of `person` hears. A guest's hears nobody else.
  std::vector<float> microphone(int person, const Stretch& span) const {
    const Person& owner = spec_.people[static_cast<std::size_t>(person)];
    std::vector<float> out(static_cast<std::size_t>(span.to - span.from));
    Random noise{spec_.seed, kMicNoiseKey, static_cast<std::uint64_t>(person)};
    // The same noise at the same moment, whoever listens.
    noise.skip(span.from - spans_[static_cast<std::size_t>(person)].from);
    const auto noise_gain = static_cast<float>(from_db(owner.noise_db));
    for (float& x : out) x = noise_gain * noise.noise();
    std::vector<Path> paths;
    for (std::size_t voice = 0; voice < spec_.people.size(); ++voice) {
      Random random{spec_.seed, kRoomKey, voice, static_cast<std::uint64_t>(person)};
      paths.push_back(static_cast<int>(voice) == person ? own_path(random, spec_.room)
                                                        : bleed_path(random, spec_.room));
    }
    for (const Speech& speech : speech_) {
      const Person& speaker = spec_.people[static_cast<std::size_t>(speech.person)];
      const bool heard = speech.person == person || (!owner.remote && !speaker.remote);
      if (heard)
        add_speech(speech, paths[static_cast<std::size_t>(speech.person)],
                   static_cast<float>(from_db(speaker.level_db)), span.from, out);
    }
    return out;
  }

  /// Guests' voices as the mix has them, for loudspeakers and for the mixer's own mix.
  Result<void> make_returns() {
    returns_.resize(spec_.people.size());
    std::vector<char> needed(spec_.people.size(), 0);
    for (const Person& person : spec_.people) {
      for (const Leak& leak : person.leaks) needed[static_cast<std::size_t>(leak.from)] = 1;
      if (person.input == Input::mixer_mix && person.mixer_has_returns)
        std::fill(needed.begin(), needed.end(), '\1');
    }
    std::vector<Result<void>> outcomes(needed.size());
    parallel_for(static_cast<int>(needed.size()), threads_, [&](int i) {
      const auto at = static_cast<std::size_t>(i);
      if (needed[at] == 0 || !spec_.people[at].remote || !has_voice(spec_.people[at])) return;
      returns_[at] = microphone(i, {0, mix_frames_});
      outcomes[at] = send(i, returns_[at]);
    });
    for (const Result<void>& outcome : outcomes)
      if (!outcome) return outcome;
    return {};
  }

  /// Whether the mix gets something of a person.
  static bool has_voice(const Person& person) {
    if (person.remote) return person.input != Input::copy && person.input != Input::mixer_mix;
    return person.input == Input::live;
  }

  static bool leaks_into_mix(const Person& person) {
    return std::any_of(person.leaks.begin(), person.leaks.end(),
                       [](const Leak& leak) { return leak.in_mix; });
  }

  /// Adds what loudspeakers bring: into the recording all of it, into the mix what is to go there.
  void add_leaks(int person, const Stretch& span, bool for_mix, std::vector<float>& sound) const {
    for (const Leak& leak : spec_.people[static_cast<std::size_t>(person)].leaks) {
      if (for_mix && !leak.in_mix) continue;
      const auto from = static_cast<std::size_t>(leak.from);
      const std::int64_t delay = std::llround(leak.delay_s * kWorldRateHz);
      const auto gain = static_cast<float>(from_db(leak.level_db));
      if (spec_.people[from].remote) {
        add_sound(returns_[from], delay - span.from, gain, leak.dull, sound);
      } else {
        const Stretch heard{span.from - delay, span.to - delay};
        add_sound(microphone(leak.from, heard), 0, gain, leak.dull, sound);
      }
    }
  }

  std::vector<float> mixer_mix(int person, const Stretch& span) const {
    std::vector<float> sum(static_cast<std::size_t>(span.to - span.from), 0.0F);
    for (std::size_t i = 0; i < spec_.people.size(); ++i) {
      const Person& other = spec_.people[i];
      if (!has_voice(other)) continue;
      if (!other.remote) {
        std::vector<float> sound = microphone(static_cast<int>(i), span);
        add_leaks(static_cast<int>(i), span, false, sound);
        add_sound(sound, 0, 1.0F, false, sum);
      } else if (spec_.people[static_cast<std::size_t>(person)].mixer_has_returns) {
        add_sound(returns_[i], -span.from, 1.0F, false, sum);
      }
    }
    return sum;
  }

  /// What a recorder's input gets; empty where it gets nothing.
  std::vector<float> input_of(int person, const Stretch& span) const {
    const Person& owner = spec_.people[static_cast<std::size_t>(person)];
    if (owner.input == Input::silent || owner.input == Input::dead) return {};
    if (owner.input == Input::mixer_mix) return mixer_mix(person, span);
    const int heard = owner.input == Input::copy ? owner.copy_of : person;
    std::vector<float> sound = microphone(heard, span);
    add_leaks(heard, span, false, sound);
    return sound;
  }

  Result<void> record(int person, std::span<const float> sound, const Stretch& span) {
    const Person& owner = spec_.people[static_cast<std::size_t>(person)];
    SimulatedTrack& track = session_.tracks[static_cast<std::size_t>(person)];
    const bool copy = owner.input == Input::copy;
    const int source = copy ? owner.copy_of : person;
    const Person& taken = spec_.people[static_cast<std::size_t>(source)];
    const int noisy = owner.copy_fresh_noise ? person : source;
    const Interpolator interpolator(kWorldRateHz, track.clock.rate_hz);
    Random noise{spec_.seed, kRecorderNoiseKey, static_cast<std::uint64_t>(noisy)};
    const auto noise_gain =
        owner.input == Input::silent ? 0.0F : static_cast<float>(from_db(taken.recorder_noise_db));
    const auto gain = static_cast<float>(from_db(taken.gain_db) * (taken.inverted ? -1.0 : 1.0));
    const auto again = static_cast<float>(
        copy ? from_db(owner.copy_gain_db) * (owner.inverted ? -1.0 : 1.0) : 1.0);
    constexpr std::size_t kBlock = 2048;
    std::vector<double> positions(kBlock);
    std::vector<float> heard(kBlock, 0.0F);
    for (std::size_t at = 0; at < track.samples.size(); at += kBlock) {
      const std::size_t count = std::min(kBlock, track.samples.size() - at);
      for (std::size_t i = 0; i < count && !sound.empty(); ++i) {
        const double line_s =
            track.clock.line_of(static_cast<double>(at + i) / track.clock.rate_hz);
        positions[i] = line_s * kWorldRateHz - static_cast<double>(span.from);
      }
      if (!sound.empty()) interpolator.read(sound, positions, std::span(heard).first(count));
      for (std::size_t i = 0; i < count; ++i)
        track.samples[at + i] = again * (gain * heard[i] + noise_gain * noise.noise());
    }
    track.samples = track.file.apply(std::move(track.samples));
    if (track.stored.codec == Codec::none) return {};
    auto coded = code(track.samples, track.clock.file_rate_hz(), track.stored, files_);
    if (!coded) return coded.error();
    track.samples = std::move(coded->samples);
    track.encoded = std::move(coded->bytes);
    track.stored_delay_s = coded->delay_s;
    return {};
  }

  /// A guest's way to the mixer; `sound` is from the mix's beginning to its end.
  Result<void> send(int person, std::vector<float>& sound) {
    Random random{spec_.seed, kRideKey, static_cast<std::uint64_t>(person)};
    const Stream& stream = spec_.people[static_cast<std::size_t>(person)].stream;
    auto sent = send_through(stream, random.bits(), session_.talk, person, sound);
    if (!sent) return sent.error();
    session_.tracks[static_cast<std::size_t>(person)].way_delay_s = *sent;
    bend(person, sound);
    return {};
  }

  /// What the bus gets of a track. `sound` is what its recorder got.
  Result<void> feed(int person, const Stretch& span, std::vector<float>& sound) {
    const Person& owner = spec_.people[static_cast<std::size_t>(person)];
    const std::vector<float>& returned = returns_[static_cast<std::size_t>(person)];
    Random random{spec_.seed, kRideKey, static_cast<std::uint64_t>(person)};
    random.bits();  // the stream's
    if (!returned.empty() && !leaks_into_mix(owner)) {
      sound = returned;  // it has gone that way already
    } else {
      if (owner.input != Input::live || !owner.leaks.empty()) {
        sound = microphone(person, span);
        add_leaks(person, span, true, sound);
      }
      const auto lead = static_cast<std::ptrdiff_t>(-span.from);
      sound.erase(sound.begin(), sound.begin() + lead);
      sound.resize(static_cast<std::size_t>(mix_frames_));
      if (owner.remote)
        if (auto sent = send(person, sound); !sent) return sent;
    }
    duck_pauses(session_.talk, person, spec_.mix.duck_db, 0.0, sound);
    ride_gain(random.bits(), spec_.mix.gain_riding_db, sound);
    return {};
  }

  /// A copy lies where its original's sound does.
  void copy_truth() {
    for (std::size_t i = 0; i < spec_.people.size(); ++i) {
      if (spec_.people[i].input != Input::copy) continue;
      SimulatedTrack& track = session_.tracks[i];
      const auto source = static_cast<std::size_t>(spec_.people[i].copy_of);
      track.way_delay_s = session_.tracks[source].way_delay_s;
      track.steps = session_.tracks[source].steps;
      track.excursions = session_.tracks[source].excursions;
      track.inverted = track.inverted != session_.tracks[source].inverted;
    }
  }

  /// The stream's own time.
  void bend(int person, std::vector<float>& sound) {
    const Stream& stream = spec_.people[static_cast<std::size_t>(person)].stream;
    SimulatedTrack& track = session_.tracks[static_cast<std::size_t>(person)];
    std::vector<BufferStep> steps = stream.steps;
    if (spec_.faults_amid_speech)
      for (BufferStep& step : steps)
        step.line_s =
            amid_speech(session_.talk, {person}, step.line_s, 0.0, stream.steps_in_pauses);
    if (stream.steps_in_pauses)
      for (BufferStep& step : steps)
        step.line_s = nearest_pause(session_.talk, person, step.line_s);
    track.steps = heard_steps(steps);
    StreamTime time(stream.excursions, steps);
    if (stream.staircase_s > 0.0) {
      Random random{spec_.seed, kStreamTimeKey, static_cast<std::uint64_t>(person)};
      const double first_error_s = stream.staircase_s * random.between(-0.5, 0.5);
      const Clock& clock = track.clock;
      time.play_sample_for_sample([&clock](double own_s) { return clock.line_of(own_s); },
                                  clock.own_of(0.0), 0.0, spec_.length_s, stream.staircase_s,
                                  first_error_s);
    }
    if (!time.is_straight()) sound = time.apply(sound);
  }

  Result<void> run_tracks(int first, int last) {
    std::vector<std::vector<float>> feeds(static_cast<std::size_t>(last - first));
    std::vector<Result<void>> outcomes(feeds.size());
    parallel_for(last - first, threads_, [&](int i) {
      const auto at = static_cast<std::size_t>(i);
      const Stretch& span = spans_[static_cast<std::size_t>(first + i)];
      feeds[at] = input_of(first + i, span);
      outcomes[at] = record(first + i, feeds[at], span);
      if (!outcomes[at]) return;
      if (has_voice(spec_.people[static_cast<std::size_t>(first + i)]))
        outcomes[at] = feed(first + i, span, feeds[at]);
      else
        feeds[at].clear();
    });
    for (std::size_t i = 0; i < feeds.size(); ++i) {
      if (!outcomes[i]) return outcomes[i];
      if (feeds[i].empty()) continue;
      for (std::size_t k = 0; k < bus_.size(); ++k) bus_[k] += feeds[i][k];
    }
    return {};
  }

  Result<void> finish_mix() {
    add_music(spec_.mix.music, Random{spec_.seed, kMusicKey}.bits(), bus_);
    if (spec_.mix.bus_filters) filter_bus(bus_);
    float peak = 0.0F;
    for (const float x : bus_) peak = std::max(peak, std::abs(x));
    const auto gain = static_cast<float>(from_db(spec_.mix.peak_db)) / std::max(peak, 1e-9F);
    for (float& x : bus_) x *= gain;
    session_.mix_rate_hz = spec_.mix.rate_hz;
    session_.mix_coding = spec_.mix.coding;
    session_.mix = at_mix_rate();
    std::vector<int> everybody(spec_.people.size());
    std::iota(everybody.begin(), everybody.end(), 0);
    auto file = FileMap::make({}, settled(spec_.mix.damage, Clock{}, everybody), spec_.mix.rate_hz,
                              static_cast<std::int64_t>(session_.mix.size()));
    if (!file) return file.error();
    session_.mix_file = *std::move(file);
    session_.mix = session_.mix_file.apply(std::move(session_.mix));
    if (spec_.mix.coding.codec == Codec::none) return {};
    auto coded = code(session_.mix, spec_.mix.rate_hz, spec_.mix.coding, files_);
    if (!coded) return coded.error();
    session_.mix = std::move(coded->samples);
    session_.mix_encoded = std::move(coded->bytes);
    session_.mix_delay_s = coded->delay_s;
    for (SimulatedTrack& track : session_.tracks) track.way_delay_s += coded->delay_s;
    return {};
  }

  std::vector<float> at_mix_rate() {
    if (spec_.mix.rate_hz == kWorldRateHz) return std::move(bus_);
    const Interpolator interpolator(kWorldRateHz, spec_.mix.rate_hz);
    std::vector<float> out(static_cast<std::size_t>(spec_.length_s * spec_.mix.rate_hz));
    for (std::size_t i = 0; i < out.size(); ++i)
      out[i] = interpolator.at(bus_, static_cast<double>(i) * (kWorldRateHz / spec_.mix.rate_hz));
    return out;
  }

  const SessionSpec& spec_;
  const VoiceSource& voices_;
  int threads_;
  CodedFile files_;
  std::int64_t mix_frames_;
  std::vector<Stretch> spans_;  // by person
  std::vector<Speech> speech_;
  std::vector<float> bus_;
  std::vector<std::vector<float>> returns_;  // by person, from the mix's beginning
  Session session_;
};

}  // namespace

SessionSpec hybrid_session(std::uint64_t seed, double length_s, int room, int remote) {
  static constexpr const char* kRoomNames[] = {"keeper", "mate",   "cook",
                                               "clerk",  "cooper", "smith"};
  static constexpr const char* kRemoteNames[] = {"pilot", "harbour", "buoy", "skipper", "island"};
  const auto name = [](const auto& names, int i) {
    const auto count = static_cast<int>(std::size(names));
    const std::string base = names[i % count];
    return i < count ? base : base + "-" + std::to_string(i / count + 1);
  };
  Random random{seed, kSpecKey};
  SessionSpec spec;
  spec.seed = seed;
  spec.length_s = length_s;
  const auto add_recorder = [&](double rate_hz) {
    Clock clock;
    clock.rate_hz = rate_hz;
    clock.drift_ppm = random.between(-100.0, 100.0);
    clock.start_s = random.between(-20.0, std::min(10.0, 0.2 * length_s));
    spec.recorders.push_back(clock);
    return static_cast<int>(spec.recorders.size()) - 1;
  };
  if (room > 0) {
    const int desk = add_recorder(48000.0);
    for (int i = 0; i < room; ++i) {
      Person person;
      person.name = name(kRoomNames, i);
      person.recorder = desk;
      spec.people.push_back(std::move(person));
    }
  }
  for (int i = 0; i < remote; ++i) {
    Person person;
    person.name = name(kRemoteNames, i);
    person.remote = true;
    person.recorder = add_recorder(i % 2 == 0 ? 44100.0 : 48000.0);
    spec.people.push_back(std::move(person));
  }
  return spec;
}

Result<Session> simulate(const SessionSpec& spec, const VoiceSource& voices, int threads,
                         CodedFile files) {
  if (auto sound = check(spec); !sound) return sound.error();
  return Simulation(spec, voices, std::max(threads, 1), files).run();
}

}  // namespace kilter::simulator
