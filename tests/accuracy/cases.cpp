#include "accuracy/cases.h"

#include <algorithm>

namespace kilter::accuracy {
namespace {

using simulator::Codec;
using simulator::SessionSpec;

SessionSpec plain(std::uint64_t seed, double length_s) {
  SessionSpec spec = simulator::hybrid_session(seed, length_s, 2, 1);
  for (auto& recorder : spec.recorders) recorder.rate_hz = 48000.0;
  return spec;
}

SessionSpec mp3_mix(std::uint64_t seed, double length_s) {
  SessionSpec spec = simulator::hybrid_session(seed, length_s, 4, 2);
  spec.mix.coding = {Codec::mp3, 128};
  spec.mix.bus_filters = true;
  return spec;
}

SessionSpec heavy_bleed(std::uint64_t seed, double length_s) {
  SessionSpec spec = simulator::hybrid_session(seed, length_s, 4, 1);
  spec.room.bleed_low_db = -10.0;
  spec.room.bleed_high_db = -5.0;
  spec.mix.gain_riding_db = 6.0;
  spec.mix.coding = {Codec::opus, 96};
  return spec;
}

SessionSpec speech_streams(std::uint64_t seed, double length_s) {
  SessionSpec spec = simulator::hybrid_session(seed, length_s, 3, 2);
  spec.mix.gain_riding_db = 6.0;
  spec.mix.bus_filters = true;
  spec.mix.coding = {Codec::opus, 96};
  double kbps = 32.0;
  for (auto& person : spec.people)
    if (person.remote) {
      person.stream.coding = {Codec::opus, kbps};
      kbps -= 8.0;
    }
  return spec;
}

SessionSpec pocket_recorders(std::uint64_t seed, double length_s) {
  SessionSpec spec = simulator::hybrid_session(seed, length_s, 3, 1);
  spec.room.bleed_low_db = -14.0;
  spec.room.bleed_high_db = -6.0;
  for (std::size_t i = 0; i < spec.people.size(); ++i) {
    if (spec.people[i].remote) continue;
    spec.people[i].recorder = static_cast<int>(spec.recorders.size());
    simulator::Clock clock;
    clock.drift_ppm = 20.0 * static_cast<double>(i) - 23.0;
    clock.start_s = -3.7 + 2.3 * static_cast<double>(i);
    spec.recorders.push_back(clock);
  }
  return spec;
}

SessionSpec short_talk(std::uint64_t seed, double length_s) {
  SessionSpec spec = simulator::hybrid_session(seed, std::min(length_s, 120.0), 3, 2);
  spec.room.bleed_low_db = -18.0;
  spec.room.bleed_high_db = -12.0;
  spec.mix.gain_riding_db = 3.0;
  spec.mix.duck_db = -12.0;
  spec.mix.bus_filters = true;
  return spec;
}

SessionSpec quiet_guest(std::uint64_t seed, double length_s) {
  SessionSpec spec = simulator::hybrid_session(seed, length_s, 3, 1);
  for (auto& person : spec.people)
    if (person.remote) person.talk_share = 0.03;
  return spec;
}

SessionSpec other_rate(std::uint64_t seed, double length_s) {
  SessionSpec spec = simulator::hybrid_session(seed, length_s, 2, 1);
  for (const auto& person : spec.people)
    if (person.remote) spec.recorders[static_cast<std::size_t>(person.recorder)].rate_hz = 44100.0;
  return spec;
}

SessionSpec full_drift(std::uint64_t seed, double length_s) {
  SessionSpec spec = simulator::hybrid_session(seed, length_s, 3, 2);
  double drift_ppm = seed % 2 == 0 ? 100.0 : -100.0;
  for (auto& recorder : spec.recorders) {
    recorder.drift_ppm = drift_ppm;
    drift_ppm = -0.9 * drift_ppm;
  }
  return spec;
}

SessionSpec far_starts(std::uint64_t seed, double length_s) {
  SessionSpec spec = simulator::hybrid_session(seed, length_s, 3, 2);
  const double starts_s[] = {-595.0, 0.3 * length_s, -210.0};
  for (std::size_t i = 0; i < spec.recorders.size(); ++i) {
    spec.recorders[i].start_s = starts_s[i % 3] + 0.37 * static_cast<double>(seed % 11);
    spec.recorders[i].length_s = 0.0;
  }
  return spec;
}

}  // namespace

const std::vector<Case>& cases() {
  static const std::vector<Case> all{
      {"plain", "2 room + 1 remote, lossless mix", 10.0, false, plain},
      {"mp3", "4 room + 2 remote, filtered bus, MP3 mix", 20.0, true, mp3_mix},
      {"bleed", "4 room + 1 remote, bleed -10..-5 dB, Opus, gain riding", 20.0, true, heavy_bleed},
      {"pocket", "3 room on a recorder each + 1 remote, bleed -14..-6 dB", 10.0, false,
       pocket_recorders},
      {"streams", "3 room + 2 remote through 32 and 24 kbit/s speech streams", 50.0, true,
       speech_streams},
      {"short", "3 room + 2 remote, 2 minutes, ducked, filtered bus", 20.0, false, short_talk},
      {"quiet", "3 room + 1 remote who speaks 3 % of the time", 10.0, false, quiet_guest},
      {"rates", "2 room at 48 kHz + 1 remote at 44.1 kHz", 10.0, false, other_rate},
      {"drift", "3 room + 2 remote, drifts to +-100 ppm", 10.0, false, full_drift},
      {"starts", "3 room + 2 remote, starts up to 10 minutes apart", 10.0, false, far_starts},
  };
  return all;
}

}  // namespace kilter::accuracy
