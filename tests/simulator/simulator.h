// Hybrid sessions made to order: people in a room and guests far away, their recorders' clocks, and
// the mixdown, with the exact truth of where every recording belongs.
//
// World time is the mix's time. Everything that sounds lies on one grid of kWorldRateHz; the mix
// reads that grid as it stands, a recorder reads it between the grid points, at the times that its
// clock says. A room microphone feeds the mix and its recorder with the same signal, so the truth
// does not depend on the room.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "codec.h"
#include "kilter/base/result.h"
#include "voices.h"

namespace kilter::simulator {

/// A recorder's crystal that warms up: `ppm` fast at its first sample, and e times less after every
/// `time_constant_s`. It comes on top of the steady drift.
struct WarmUp {
  double ppm{0.0};
  double time_constant_s{600.0};
};

/// One recorder's clock. A guest's start counts the way to the mix: it is the place in the mix
/// where the recording's first sample is heard.
struct Clock {
  double rate_hz{48000.0};  ///< as the file states it; at least 8000
  double drift_ppm{0.0};    ///< positive: fast, too many samples
  double start_s{0.0};      ///< timeline second of the first sample; may be far before the mix
  double length_s{0.0};     ///< in the recorder's own seconds; 0: until the mix ends
  WarmUp warm_up;

  /// Timeline second of a track second. Exact to the rounding of a double.
  double line_of(double track_s) const;
};

/// What happens to a guest's voice on its way into the mix. Only the codec moves it in time, and
/// the truth counts that.
struct Stream {
  Coding coding;             ///< Opus at 24 or 32 kbit/s is typical
  double low_pass_hz{0.0};   ///< 0: none; a linear-phase filter, its delay taken out
  double gate_db{0.0};       ///< below 0: pauses are turned down by this much
  double gain_riding_db{0};  ///< a level control that follows nobody, within +- this
};

struct Person {
  std::string name;  ///< of the track and its file
  bool remote{false};
  int recorder{0};  ///< index into SessionSpec::recorders; the room may share one
  std::optional<double>
      talk_share;                   ///< part of the time, 0..1; nothing: an equal share of the rest
  double level_db{-23.0};           ///< mean level of the speech at its own microphone
  double noise_db{-78.0};           ///< microphone noise, in the mix too
  double recorder_noise_db{-96.0};  ///< noise of the recorder alone
  double gain_db{0.0};              ///< of the recording only
  bool inverted{false};             ///< the recording only
  Coding stored;                    ///< how the recording is kept
  Stream stream;                    ///< for guests
};

/// How the people in the room reach each other's microphones. Each pair draws from the ranges.
struct Room {
  double rt60_s{0.3};
  double own_reverb_db{-20.0};  ///< the room's answer at the speaker's own microphone
  double bleed_low_db{-22.0};   ///< against the own voice
  double bleed_high_db{-14.0};
  double delay_low_ms{3.0};
  double delay_high_ms{8.0};
};

struct Mix {
  double rate_hz{48000.0};
  double gain_riding_db{0.0};  ///< slow random gain per track, within +- this
  double duck_db{0.0};         ///< below 0: the microphones of silent people are turned down
  double peak_db{-2.0};        ///< the mix's highest sample, before coding
  bool bus_filters{false};     ///< high-pass at 80 Hz and a gentle presence shelf, minimum phase
  Coding coding;
};

struct SessionSpec {
  std::uint64_t seed{1};
  double length_s{120.0};  ///< of the mix
  std::vector<Clock> recorders;
  std::vector<Person> people;
  Room room;
  Mix mix;
};

/// One recorder for `room` people, and one for each of `remote` guests (44.1 kHz for every second
/// one), drifts within +-100 ppm, starts from -20 to 10 s (a fifth of the mix at most), everything
/// lossless: a plain session to change before it is simulated. The same seed gives the same
/// session.
SessionSpec hybrid_session(std::uint64_t seed, double length_s, int room, int remote);

struct SimulatedTrack {
  std::string name;
  bool remote{false};
  int recorder{0};
  bool inverted{false};
  Clock clock;
  Coding stored;
  std::vector<float> samples;  ///< as a reader finds them: after coding
  std::vector<char> encoded;   ///< the file's bytes, where a lossy codec stores it
  double way_delay_s{0.0};     ///< what lossy codecs on the way into the mix added
  double stored_delay_s{0.0};  ///< what the recording's own lossy codec added, in its own seconds

  /// The truth: the timeline (mix) second at which a second of this file is heard. The codecs'
  /// delays are measured (see Coded); without codecs it is the clock's own line.
  double line_of(double track_s) const {
    return clock.line_of(track_s - stored_delay_s) + way_delay_s;
  }
};

/// Somebody says something.
struct Utterance {
  int person{0};
  double line_from_s{0.0};
  double length_s{0.0};
};

struct Session {
  double mix_rate_hz{48000.0};
  Coding mix_coding;
  std::vector<float> mix;
  std::vector<char> mix_encoded;       ///< the file's bytes, where a lossy codec stores it
  std::vector<SimulatedTrack> tracks;  ///< one per person, in order
  std::vector<Utterance> talk;         ///< in order of time

  double line_of(std::size_t track, double track_s) const { return tracks[track].line_of(track_s); }
};

/// Makes the session. The talk goes on for all the time that any recording or the mix covers.
/// The same bits for the same spec, voices and libraries, whatever `threads` is.
/// Fails (bad_command) where the spec makes no sense, and where a codec is missing.
/// Cost, measured: 7 s of one core for 8 minutes of 4 + 2 people, 3 to 7 s more for each 8 minutes
/// through MP3 or Opus. Memory: 4 bytes per sample of each track, the talk and the mix.
Result<Session> simulate(const SessionSpec& spec, const VoiceSource& voices, int threads);

}  // namespace kilter::simulator
