#include "accuracy/cases.h"

#include <algorithm>
#include <array>

namespace kilter::accuracy {
namespace {

using simulator::Clock;
using simulator::Codec;
using simulator::Damage;
using simulator::Input;
using simulator::Person;
using simulator::SessionSpec;
using enum simulator::Damage::Kind;

SessionSpec session(std::uint64_t seed, double length_s, int room, int remote) {
  return simulator::hybrid_session(seed, length_s, room, remote);
}

/// All recorders start before the mix, so that the place of a fault is in both; and where there is
/// speech on both sides of it.
void start_before_mix(SessionSpec& spec) {
  spec.faults_amid_speech = true;
  for (std::size_t i = 0; i < spec.recorders.size(); ++i)
    spec.recorders[i].start_s = -1.5 - 2.0 * static_cast<double>(i);
}

/// Those whose files or streams have faults talk most of the time, for the faults to show.
Order with_faults_heard(SessionSpec spec) {
  const auto has_fault = [](const Person& person) {
    return !person.damage.empty() || !person.stream.steps.empty();
  };
  const auto count = std::count_if(spec.people.begin(), spec.people.end(), has_fault);
  for (Person& person : spec.people)
    if (has_fault(person)) person.talk_share = std::min(0.4, 0.65 / static_cast<double>(count));
  return {spec};
}

std::vector<Person*> guests(SessionSpec& spec) {
  std::vector<Person*> found;
  for (Person& person : spec.people)
    if (person.remote) found.push_back(&person);
  return found;
}

Order plain(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 2, 1);
  for (Clock& recorder : spec.recorders) recorder.rate_hz = 48000.0;
  return {spec};
}

Order mp3_mix(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 4, 2);
  spec.mix.coding = {Codec::mp3, 128};
  spec.mix.bus_filters = true;
  return {spec};
}

Order heavy_bleed(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 4, 1);
  spec.room.bleed_low_db = -10.0;
  spec.room.bleed_high_db = -5.0;
  spec.mix.gain_riding_db = 6.0;
  spec.mix.coding = {Codec::opus, 96};
  return {spec};
}

Order speech_streams(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 3, 2);
  spec.mix.gain_riding_db = 6.0;
  spec.mix.bus_filters = true;
  spec.mix.coding = {Codec::opus, 96};
  double kbps = 32.0;
  for (Person* guest : guests(spec)) {
    guest->stream.coding = {Codec::opus, kbps};
    kbps -= 8.0;
  }
  return {spec};
}

Order pocket_recorders(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 3, 1);
  spec.room.bleed_low_db = -14.0;
  spec.room.bleed_high_db = -6.0;
  for (std::size_t i = 0; i < spec.people.size(); ++i) {
    if (spec.people[i].remote) continue;
    spec.people[i].recorder = static_cast<int>(spec.recorders.size());
    Clock clock;
    clock.drift_ppm = 20.0 * static_cast<double>(i) - 23.0;
    clock.start_s = -3.7 + 2.3 * static_cast<double>(i);
    spec.recorders.push_back(clock);
  }
  return {spec};
}

Order short_talk(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, std::min(length_s, 120.0), 3, 2);
  spec.room.bleed_low_db = -18.0;
  spec.room.bleed_high_db = -12.0;
  spec.mix.gain_riding_db = 3.0;
  spec.mix.duck_db = -12.0;
  spec.mix.bus_filters = true;
  return {spec};
}

Order quiet_guest(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 3, 1);
  for (Person* guest : guests(spec)) guest->talk_share = 0.03;
  return {spec};
}

Order full_drift(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 3, 2);
  double drift_ppm = seed % 2 == 0 ? 100.0 : -100.0;
  for (Clock& recorder : spec.recorders) {
    recorder.drift_ppm = drift_ppm;
    drift_ppm = -0.9 * drift_ppm;
  }
  return {spec};
}

Order long_session(std::uint64_t seed, double length_s) { return {session(seed, length_s, 1, 1)}; }

// Seams.

Order track_seams(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 2, 2);
  start_before_mix(spec);
  spec.people[0].damage = {{lost, 0.25 * length_s, 0.02}, {lost, 0.6 * length_s, 1.7}};
  spec.people[2].damage = {
      {lost, 0.3 * length_s, 0.06}, {lost, 0.5 * length_s, 0.35}, {lost, 0.75 * length_s, 8.0}};
  spec.people[3].damage = {{lost, 0.42 * length_s, 0.12}};
  return with_faults_heard(spec);
}

Order minutes_lost(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 2, 1);
  start_before_mix(spec);
  spec.people[2].damage = {{lost, 0.4 * length_s, 0.25 * length_s}};
  return with_faults_heard(spec);
}

Order zeros(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 2, 2);
  start_before_mix(spec);
  spec.people[1].damage = {{zeros_inserted, 0.4 * length_s, 0.5},
                           {zeros_over, 0.7 * length_s, 1.0}};
  spec.people[2].damage = {{zeros_over, 0.3 * length_s, 0.4},
                           {zeros_inserted, 0.55 * length_s, 3.0}};
  spec.people[3].damage = {{zeros_inserted, 0.5 * length_s, 0.04}};
  return with_faults_heard(spec);
}

Order repeats(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 2, 2);
  start_before_mix(spec);
  spec.people[1].damage = {{repeated, 0.35 * length_s, 0.1}, {repeated, 0.7 * length_s, 2.0}};
  spec.people[2].damage = {{repeated, 0.6 * length_s, 0.5}};
  spec.people[3].damage = {{repeated, 0.45 * length_s, 0.03}};
  return with_faults_heard(spec);
}

Order recorder_seams(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 3, 1);
  start_before_mix(spec);
  spec.recorders[0].damage = {
      {lost, 0.3 * length_s, 0.08}, {repeated, 0.55 * length_s, 0.4}, {lost, 0.8 * length_s, 2.5}};
  return with_faults_heard(spec);
}

/// Microphones that lost something alone, one of them just before or after its recorder did.
Order own_and_recorder_seams(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 3, 2);
  start_before_mix(spec);
  spec.recorders[0].damage = {{lost, 0.56 * length_s, 0.25}};
  spec.people[0].damage = {{lost, 0.18 * length_s, 0.06}};
  const double beside_s = seed % 2 == 0 ? 6.0 : -6.0;
  spec.people[1].damage = {{lost, 0.56 * length_s + beside_s, 0.12}};
  return with_faults_heard(spec);
}

Order mix_seams(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 3, 2);
  start_before_mix(spec);
  spec.mix.damage = {
      {lost, 0.3 * length_s, 0.25}, {repeated, 0.5 * length_s, 0.5}, {lost, 0.75 * length_s, 5.0}};
  return with_faults_heard(spec);
}

/// Of three minutes 5, 20 or 60 s, at one of three places.
Order mix_minutes_lost(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 3, 2);
  const double share = std::array{1.0 / 36.0, 1.0 / 9.0, 1.0 / 3.0}[seed % 3];
  const double place = std::array{0.25, 0.34, 0.44}[seed / 3 % 3];
  spec.mix.damage = {{lost, place * length_s, share * length_s}};
  return {spec};
}

Order stream_steps(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 1, 2);
  start_before_mix(spec);
  spec.people[1].stream.steps = {{0.4 * length_s, 0.04}, {0.7 * length_s, -0.025}};
  spec.people[2].stream.steps = {{0.55 * length_s, -0.06}};
  return with_faults_heard(spec);
}

Order seams_of_all_kinds(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 3, 2);
  start_before_mix(spec);
  spec.mix.coding = {Codec::mp3, 128};
  spec.mix.gain_riding_db = 4.0;
  spec.mix.music.bed_db = -45.0;
  for (Person* guest : guests(spec)) guest->stream.coding = {Codec::opus, 24};
  spec.people[1].damage = {{lost, 0.25 * length_s, 0.15}};
  spec.recorders[0].damage = {{lost, 0.7 * length_s, 0.3}};
  spec.people[3].damage = {{zeros_inserted, 0.85 * length_s, 1.0}};
  spec.people[4].stream.steps = {{0.55 * length_s, 0.05}};
  spec.mix.damage = {{lost, 0.4 * length_s, 0.6}};
  return with_faults_heard(spec);
}

// Streams.

Order excursions(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 2, 2);
  for (Person* guest : guests(spec)) {
    guest->stream.coding = {Codec::opus, 32};
    guest->stream.excursions = simulator::random_excursions(
        seed + static_cast<std::uint64_t>(guest->recorder), 0.0, length_s, 1.5, 0.06);
  }
  return {spec};
}

Order staircase(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 2, 2);
  double splice_s = 0.004;
  double drift_ppm = 41.0;
  for (Person* guest : guests(spec)) {
    guest->stream.staircase_s = splice_s;
    spec.recorders[static_cast<std::size_t>(guest->recorder)].drift_ppm = drift_ppm;
    splice_s *= 2.0;
    drift_ppm = -83.0;
  }
  return {spec};
}

// Clocks.

Order warm_up(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 2, 1);
  start_before_mix(spec);
  spec.recorders[0].warm_up = {4.0, 600.0};
  spec.recorders[1].warm_up = {-4.0, 450.0};
  return {spec};
}

Order swing(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 2, 1);
  start_before_mix(spec);
  spec.recorders[0].swing = {1.0, 1200.0, 0.1};
  spec.recorders[1].swing = {0.6, 900.0, 0.6};
  return {spec};
}

/// Other pairs for every seed.
Order wrong_headers(std::uint64_t seed, double length_s) {
  struct Pair {
    double rate_hz;
    double header_hz;
  };
  static constexpr Pair kPairs[] = {{48000, 44100}, {44100, 48000}, {48000, 96000}, {16000, 8000},
                                    {24000, 22050}, {32000, 48000}, {44100, 22050}, {96000, 88200},
                                    {22050, 24000}, {48000, 32000}, {11025, 8000},  {88200, 44100}};
  SessionSpec spec = session(seed, length_s, 2, 2);
  for (std::size_t i = 1; i <= 2; ++i) {
    const Pair& pair = kPairs[(2 * seed + i) % std::size(kPairs)];
    spec.recorders[i].rate_hz = pair.rate_hz;
    spec.recorders[i].header_rate_hz = pair.header_hz;
  }
  return {spec};
}

Order pull_down(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 2, 2);
  spec.recorders[0].rate_hz = 48000.0 / 1.001;
  spec.recorders[0].header_rate_hz = 48000.0;
  spec.recorders[2].rate_hz = 48000.0 * 1.001;
  spec.recorders[2].header_rate_hz = 48000.0;
  return {spec};
}

// Patching.

Order inverted(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 3, 2);
  spec.people[seed % 3].inverted = true;
  spec.people[4].inverted = true;
  return {spec};
}

Order copies(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 4, 1);
  spec.people[2].input = Input::copy;
  spec.people[2].copy_of = 0;
  spec.people[3].input = Input::copy;
  spec.people[3].copy_of = 1;
  spec.people[3].copy_gain_db = -7.0;
  spec.people[3].copy_fresh_noise = true;
  return {spec};
}

/// The interface puts its stereo mix on the first two channels, the microphones after them.
Order mixers_mix(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 5, 1);
  for (std::size_t i = 0; i < 2; ++i) {
    spec.people[i].input = Input::mixer_mix;
    spec.people[i].mixer_has_returns = true;
    spec.people[i].gain_db = -4.0;
  }
  return {spec};
}

Order room_mix(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 4, 1);
  spec.people[3].input = Input::mixer_mix;
  return {spec};
}

Order dead_inputs(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 4, 2);
  spec.people[1].input = Input::silent;
  spec.people[3].input = Input::dead;
  spec.people[5].input = Input::silent;
  return {spec};
}

Order strangers(std::uint64_t seed, double length_s) { return {session(seed, length_s, 2, 1), 3}; }

// Leaks.

Order no_headphones(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 2, 2);
  spec.people[2].leaks = {{0, 0.08 + 0.02 * static_cast<double>(seed % 8), -14.0},
                          {1, 0.08 + 0.02 * static_cast<double>(seed % 8), -14.0}};
  spec.people[3].leaks = {{0, 0.4, -20.0}, {1, 0.4, -20.0}, {2, 0.35, -20.0}};
  return {spec};
}

Order loudspeaker(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 3, 1);
  for (std::size_t i = 0; i < 3; ++i)
    spec.people[i].leaks = {{3, 0.015 + 0.004 * static_cast<double>(i), -20.0, true, true}};
  spec.people[3].stream.coding = {Codec::opus, 32};
  return {spec};
}

Order return_loop(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 2, 2);
  spec.people[2].leaks = {{2, 0.18, -16.0}};
  spec.people[0].leaks = {{3, 0.25, -18.0}};
  return {spec};
}

// Voices and music.

Order withheld(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 3, 2);
  spec.people[4].withheld = true;
  return {spec};
}

Order music(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 3, 2);
  spec.mix.music.bed_db = -40.0;
  spec.mix.music.jingles = {
      {2.0, 8.0, -20.0}, {0.5 * length_s, 6.0, -22.0}, {length_s - 12.0, 10.0, -20.0}};
  return {spec};
}

Order everything(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 3, 2);
  spec.room.bleed_low_db = -16.0;
  spec.room.bleed_high_db = -10.0;
  for (Person* guest : guests(spec)) {
    guest->stream.coding = {Codec::opus, 16};
    guest->stream.gate_db = -25.0;
    guest->stream.gain_riding_db = 6.0;
    guest->stream.excursions = simulator::random_excursions(
        seed + static_cast<std::uint64_t>(guest->recorder), 0.0, length_s, 1.5, 0.03);
  }
  spec.mix.gain_riding_db = 6.0;
  spec.mix.duck_db = -10.0;
  spec.mix.bus_filters = true;
  spec.mix.music.bed_db = -40.0;
  spec.mix.music.jingles = {{3.0, 8.0, -20.0}, {0.6 * length_s, 5.0, -20.0}};
  spec.mix.coding = {Codec::mp3, 96};
  return {spec};
}

// Little evidence.

Order half_a_minute(std::uint64_t seed, double) { return {session(seed, 30.0, 2, 1)}; }

Order ten_words(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 2, 1);
  start_before_mix(spec);
  spec.people[2].words = {{0.37 * length_s, 2.2}, {0.62 * length_s, 1.6}};
  return {spec};
}

Order late_joiner(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 2, 2);
  spec.people[3].comes_and_goes = true;
  spec.recorders[2].start_s = 0.7 * length_s;
  return {spec};
}

Order two_takes(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 2, 2);
  spec.people[3].voice = 2;
  spec.people[3].name = spec.people[2].name + "-again";
  spec.recorders[1].start_s = -4.0;
  spec.recorders[1].length_s = 0.45 * length_s;
  spec.recorders[2] = spec.recorders[1];
  spec.recorders[2].start_s = 0.5 * length_s;
  spec.recorders[2].length_s = 0.0;
  return {spec};
}

Order no_mix(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 3, 1);
  spec.people[2].recorder = static_cast<int>(spec.recorders.size());
  Clock clock;
  clock.drift_ppm = 37.0;
  clock.start_s = 5.5;
  spec.recorders.push_back(clock);
  spec.people[3].leaks = {{0, 0.12, -16.0}, {1, 0.12, -16.0}, {2, 0.12, -16.0}};
  return {spec, 0, false};
}

/// The mix is a third of what was recorded.
Order partial_mix(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s / 3.0, 3, 2);
  for (Clock& recorder : spec.recorders) {
    recorder.start_s -= length_s / 3.0;
    recorder.length_s = length_s;
  }
  return {spec};
}

Order hours_apart(std::uint64_t seed, double length_s) {
  SessionSpec spec = session(seed, length_s, 2, 1);
  spec.recorders[0].start_s = -3725.0 + static_cast<double>(seed % 7);
  spec.recorders[0].drift_ppm = std::clamp(spec.recorders[0].drift_ppm, -60.0, 60.0);
  return {spec};
}

}  // namespace

const std::vector<Case>& cases() {
  static const std::vector<Case> all{
      {"plain", "2 room + 1 remote, lossless", 10, 1, true, plain},
      {"mp3", "4 + 2, filtered bus, MP3 mix", 20, 1, true, mp3_mix},
      {"bleed", "4 + 1, bleed -10..-5 dB, Opus mix", 20, 1, true, heavy_bleed},
      {"pocket", "3 on a recorder each + 1", 10, 1, true, pocket_recorders},
      {"streams", "3 + 2 through 32 and 24 kbit/s", 50, 1, true, speech_streams},
      {"drift", "3 + 2, drifts to +-100 ppm", 10, 1, true, full_drift},
      {"seams-track", "tracks lost 20 ms to 8 s", 10, 1, true, track_seams},
      {"seams-minutes", "a guest's file lost a quarter", 10, 1, true, minutes_lost},
      {"seams-zeros", "zeros put in, and over", 10, 1, true, zeros},
      {"seams-repeated", "stretches repeated, 30 ms to 2 s", 10, 1, true, repeats},
      {"seams-recorder", "the desk lost and repeated", 10, 1, true, recorder_seams},
      {"seams-both", "microphones and their desk lost", 10, 1, true, own_and_recorder_seams},
      {"seams-mix", "the mix lost and repeated", 10, 1, true, mix_seams},
      {"mix-minutes", "the mix lost up to a third", 10, 0.6, true, mix_minutes_lost},
      {"seams-stream", "jitter buffers changed for good", 10, 1, true, stream_steps},
      {"seams-all", "seams of all causes, codecs, bed", 20, 1, true, seams_of_all_kinds},
      {"excursions", "jitter 2.5..60 ms, 32 kbit/s", 20, 1, true, excursions},
      {"staircase", "splices of 4 and 8 ms, no drift", 4000, 6, true, staircase},
      {"warm-up", "clocks warm up by 4 ppm", 50, 3, true, warm_up},
      {"swing", "clocks swing by 0.6 and 1 ppm", 50, 3, true, swing},
      {"headers", "two guests' headers are wrong", 10, 1, true, wrong_headers},
      {"pull-down", "0.1 % down and up", 10, 1, true, pull_down},
      {"inverted", "two inverted of 5", 10, 1, true, inverted},
      {"copies", "two microphones recorded twice", 10, 1, true, copies},
      {"mixer-mix", "the mixer's mix on inputs 1 and 2", 10, 1, true, mixers_mix},
      {"room-mix", "the room's sum on an input", 10, 1, true, room_mix},
      {"dead", "silent and dead inputs", 10, 1, true, dead_inputs},
      {"strangers", "3 tracks of another session", 10, 1, true, strangers},
      {"leak-guest", "guests without headphones", 10, 1, true, no_headphones},
      {"leak-room", "a guest on the room's loudspeaker", 20, 1, true, loudspeaker},
      {"leak-loop", "return loops", 10, 1, true, return_loop},
      {"withheld", "a guest's file is missing", 10, 1, true, withheld},
      {"music", "bed at -17 dB and jingles", 20, 1, true, music},
      {"everything", "gates, 16 kbit/s, jitter, bed, MP3", 20, 1.3, true, everything},
      {"short", "2 minutes, ducked, filtered bus", 20, 1, true, short_talk},
      {"half-minute", "30 seconds", 0, 1, false, half_a_minute},
      {"quiet", "a guest who speaks 3 % of the time", 20, 1, false, quiet_guest},
      {"ten-words", "a guest says ten words", 20, 1, false, ten_words},
      {"late", "a guest joins for the last third", 20, 1, true, late_joiner},
      {"takes", "two takes of one guest", 20, 1, true, two_takes},
      {"no-mix", "no mix: bleed and leaks alone", 0, 1, false, no_mix},
      {"partial", "the mix holds a third", 20, 1, true, partial_mix},
      {"hours", "the desk started an hour before", 50, 1, false, hours_apart},
      {"long", "1 + 1, nine times longer", 10, 9, true, long_session, true},
  };
  return all;
}

}  // namespace kilter::accuracy
