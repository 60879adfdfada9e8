#include "sample_lineup.h"

namespace kilter::edits {
namespace {

LineupTrack keeper() {
  LineupTrack track;
  track.name = "keeper";
  track.parts = {{"rec_0001.wav", 1, 4800000}, {"rec_0002.wav", 3, 2400000}};
  track.rate_hz = 48000.0;
  track.recorder = std::string(1, 'A');
  track.standing = Standing::firm;
  const double rate = 1.0 / (1.0 + 23.41e-6);
  track.map = *TimeMap::make({{0.0, 120.25, 12.345678901, 12.345678901 + 120.25 * rate, 3.1},
                              {120.25, 150.0, 134.5, 134.5 + 29.75 * rate, 4.2}});
  track.uncertainty_us = 4.2;
  track.windows_measured = 118;
  track.windows_used = 101;
  Finding seam{"seam",      "1.907 s are missing at 0:02:00.250: nothing to do",
               120.25,      132.592863957,
               1.907136043, "track",
               {}};
  track.findings = {seam};
  return track;
}

LineupTrack guest() {
  LineupTrack track;
  track.name = "guest from the far rock";
  track.parts = {{"uploads/guest.flac", 2, 4410000}};
  track.rate_hz = 44100.0;
  track.role = Role::remote;
  track.recorder = std::string(1, 'B');
  track.standing = Standing::shaky;
  track.inverted = true;
  track.map = *TimeMap::line(-3.25, -87.5, 100.0, 1500.0);
  track.uncertainty_us = 1500.0;
  track.windows_measured = 12;
  track.windows_used = 3;
  track.findings = {
      {"inverted", "the polarity is turned: its stem is turned back", {}, {}, {}, {}, {}}};
  return track;
}

LineupTrack stranger() {
  LineupTrack track;
  track.name = "=the \"new\" mate\t\\ with\na lamp";
  track.parts = {{"#lamp.wav", 1, 960000}};
  track.rate_hz = 96000.0;
  track.recorder = std::string(1, 'C');
  track.findings = {{"unmatched",
                     "nothing of it is heard in the mix: check that it belongs here",
                     {},
                     {},
                     {},
                     {},
                     {}}};
  return track;
}

LineupMix mix() {
  LineupMix mix;
  mix.file = "mixdown.flac";
  mix.rate_hz = 48000.0;
  mix.frames = 17280000;
  mix.spans = {{0.0, 200.0, 0.0, 200.0, 0.0}, {200.0, 360.0, 201.5, 361.5, 0.0}};
  mix.findings = {{"mix-seam", "the mix skips 1.5 s at 0:03:20.000", 200.0, 200.0, 1.5, "mix", {}}};
  return mix;
}

}  // namespace

Lineup sample_lineup() {
  Lineup lineup;
  lineup.session = "Lighthouse Hour 12";
  lineup.timeline_rate_hz = 48000.0;
  lineup.to_s = 361.5;
  lineup.mix = mix();
  lineup.tracks = {keeper(), guest(), stranger()};
  lineup.findings = {{"missing-voice",
                      "somebody speaks whom no file holds: ask who was there",
                      {},
                      {},
                      {},
                      {},
                      {{40.5, 44.25}, {100.0, 107.125}}}};
  return lineup;
}

}  // namespace kilter::edits
