// Sessions drawn by lot, for calibration and for counting what must never happen.
#include <algorithm>
#include <cmath>

#include "accuracy/cases.h"
#include "simulator/random.h"

namespace kilter::accuracy {
namespace {

using simulator::Clock;
using simulator::Codec;
using simulator::Coding;
using simulator::Damage;
using simulator::Input;
using simulator::Person;
using simulator::Random;
using simulator::SessionSpec;

/// Even on a logarithmic scale.
double spread(Random& random, double low, double high) {
  return low * std::pow(high / low, random.uniform());
}

/// One fault within two shares of a recording.
std::vector<Damage> fault(Random& random, double length_s, double from, double to) {
  static constexpr Damage::Kind kKinds[] = {Damage::Kind::lost, Damage::Kind::lost,
                                            Damage::Kind::repeated, Damage::Kind::zeros_inserted,
                                            Damage::Kind::zeros_over};
  const Damage::Kind kind = kKinds[random.index(5)];
  const double fault_s = spread(random, 0.02, std::min(5.0, 0.5 * (to - from) * length_s));
  return {{kind, length_s * random.between(from, 0.5 * (from + to)), fault_s}};
}

Coding mix_coding(Random& random) {
  static constexpr Coding kCodings[] = {
      {Codec::none, 0}, {Codec::none, 0}, {Codec::mp3, 96}, {Codec::mp3, 160}, {Codec::opus, 96}};
  return kCodings[random.index(5)];
}

void draw_room(Random& random, SessionSpec& spec) {
  spec.room.bleed_low_db = random.between(-24.0, -10.0);
  spec.room.bleed_high_db = spec.room.bleed_low_db + random.between(2.0, 7.0);
  spec.room.rt60_s = random.between(0.2, 0.6);
}

void draw_mix(Random& random, SessionSpec& spec) {
  spec.mix.coding = mix_coding(random);
  spec.mix.bus_filters = random.chance(0.4);
  if (random.chance(0.4)) spec.mix.gain_riding_db = random.between(2.0, 6.0);
  if (random.chance(0.3)) spec.mix.duck_db = random.between(-15.0, -6.0);
  if (random.chance(0.25)) spec.mix.music.bed_db = random.between(-50.0, -38.0);
  if (random.chance(0.25))
    spec.mix.music.jingles = {{random.between(0.0, 0.8 * spec.length_s), random.between(4.0, 9.0),
                               random.between(-24.0, -18.0)}};
}

void draw_stream(Random& random, simulator::Stream& stream) {
  if (random.chance(0.6)) stream.coding = {Codec::opus, random.chance(0.3) ? 16.0 : 32.0};
  if (random.chance(0.3)) stream.gate_db = random.between(-30.0, -10.0);
  if (random.chance(0.3)) stream.gain_riding_db = random.between(2.0, 6.0);
  if (random.chance(0.2)) stream.low_pass_hz = random.between(5000.0, 9000.0);
}

void draw_stream_faults(Random& random, double length_s, simulator::Stream& stream) {
  if (random.chance(0.3))
    stream.excursions = simulator::random_excursions(
        random.bits(), 0.0, length_s, random.between(0.5, 2.0), random.between(0.005, 0.06));
  if (random.chance(0.12)) stream.staircase_s = random.between(0.0025, 0.015);
  if (random.chance(0.1))
    stream.steps = {
        {length_s * random.between(0.3, 0.7), random.sign() * random.between(0.02, 0.08)}};
}

void draw_clock(Random& random, double length_s, Clock& clock) {
  static constexpr double kRates_hz[] = {48000, 48000, 48000, 44100, 44100, 32000, 96000};
  clock.rate_hz = kRates_hz[random.index(7)];
  if (random.chance(0.15)) clock.warm_up = {random.between(-5.0, 5.0), 600.0};
  if (random.chance(0.06)) {
    static constexpr double kHeaders_hz[] = {22050, 24000, 32000, 44100, 48000, 88200, 96000};
    clock.header_rate_hz = kHeaders_hz[random.index(7)];
  } else if (random.chance(0.04)) {
    clock.header_rate_hz = clock.rate_hz;
    clock.rate_hz /= random.chance(0.5) ? 1.001 : 1.0 / 1.001;
  }
  if (random.chance(0.1)) clock.damage = fault(random, length_s, 0.2, 0.45);
}

void draw_patching(Random& random, SessionSpec& spec, std::size_t i) {
  Person& person = spec.people[i];
  person.inverted = random.chance(0.1);
  if (i == 0) return;  // somebody must be there to be copied
  const auto room = std::count_if(spec.people.begin(), spec.people.end(),
                                  [](const Person& other) { return !other.remote; });
  const double lot = random.uniform();
  if (lot < 0.05) {
    person.input = Input::copy;
    person.copy_of = 0;
    person.recorder = spec.people[0].recorder;
    person.remote = spec.people[0].remote;
    person.copy_gain_db = random.chance(0.5) ? 0.0 : -6.0;
  } else if (lot < 0.08 && !person.remote) {
    person.input = Input::dead;
  } else if (lot < 0.11) {
    person.input = Input::silent;
  } else if (lot < 0.14 && !person.remote && room > 2) {  // a sum of one is a copy
    person.input = Input::mixer_mix;
    person.mixer_has_returns = random.chance(0.5);
  } else if (lot < 0.19 && person.remote) {
    person.withheld = true;
  }
  if (person.input != Input::live) person.talk_share.reset();
}

void draw_leaks(Random& random, SessionSpec& spec, std::size_t i) {
  if (!random.chance(0.1)) return;
  const int from = random.index(static_cast<int>(spec.people.size()));
  const bool own = from == static_cast<int>(i);
  Person& person = spec.people[i];
  const Person& source = spec.people[static_cast<std::size_t>(from)];
  if ((own && !person.remote) || (!source.remote && !person.remote)) return;
  if (source.input != Input::live) return;
  const double delay_s = person.remote ? random.between(0.08, 0.4) : random.between(0.01, 0.05);
  person.leaks = {{from, delay_s, random.between(-26.0, -12.0)}};
}

SessionSpec draw_people(Random& random, std::uint64_t seed, double length_s, bool faults) {
  const int room = random.index(4);
  const int remote = std::max(random.index(4), 2 - room);
  SessionSpec spec = simulator::hybrid_session(seed, length_s, room, remote);
  if (room > 1 && random.chance(0.25)) {
    Clock own = spec.recorders[0];
    own.drift_ppm = random.between(-60.0, 60.0);
    own.start_s += random.between(-8.0, 3.0);
    spec.people[1].recorder = static_cast<int>(spec.recorders.size());
    spec.recorders.push_back(own);
  }
  draw_room(random, spec);
  draw_mix(random, spec);
  for (Person& person : spec.people) {
    if (person.remote) draw_stream(random, person.stream);
    if (random.chance(0.08)) person.talk_share = random.between(0.02, 0.08);
    if (random.chance(0.1)) person.stored = {Codec::mp3, 128};
  }
  if (!faults) return spec;
  spec.faults_amid_speech = random.chance(0.7);
  for (Clock& clock : spec.recorders) draw_clock(random, length_s, clock);
  for (std::size_t i = 0; i < spec.people.size(); ++i) {
    Person& person = spec.people[i];
    if (person.remote) draw_stream_faults(random, length_s, person.stream);
    if (random.chance(0.12)) person.damage = fault(random, length_s, 0.5, 0.8);
    draw_patching(random, spec, i);
    draw_leaks(random, spec, i);
  }
  if (random.chance(0.1))
    spec.mix.damage = {{random.chance(0.6) ? Damage::Kind::lost : Damage::Kind::repeated,
                        length_s * random.between(0.3, 0.7), spread(random, 0.02, 5.0)}};
  // An MP3 of a rate below 32 kHz comes back late by its lead-in, and not of every rate.
  for (Person& person : spec.people) {
    const Clock& clock = spec.recorders[static_cast<std::size_t>(person.recorder)];
    const double rate_hz = clock.file_rate_hz();
    if (rate_hz != 32000.0 && rate_hz != 44100.0 && rate_hz != 48000.0) person.stored = {};
  }
  return spec;
}

}  // namespace

Order random_order(std::uint64_t seed) {
  Random random{seed, 90};
  const double length_s = spread(random, 60.0, 180.0);
  return {draw_people(random, seed, length_s, true), 3};
}

Order clean_order(std::uint64_t seed, double length_s) {
  Random random{seed, 91};
  return {draw_people(random, seed, length_s, false)};
}

}  // namespace kilter::accuracy
