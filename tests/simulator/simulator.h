// Hybrid sessions made to order: people in a room and guests far away, their recorders' clocks, and
// the mixdown, with the exact truth of where every recording belongs.
//
// World time is the undamaged mix's time, and the timeline. Everything that sounds lies on one grid
// of kWorldRateHz; the mix reads that grid as it stands, a recorder reads it between the grid
// points, at the times that its clock says. A room microphone feeds the mix and its recorder with
// the same signal, so the truth does not depend on the room.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "codec.h"
#include "damage.h"
#include "kilter/base/result.h"
#include "music.h"
#include "stream_time.h"
#include "voices.h"

namespace kilter::simulator {

/// A recorder's crystal that warms up: `ppm` fast at its first sample, and e times less after every
/// `time_constant_s`. It comes on top of the steady drift.
struct WarmUp {
  double ppm{0.0};
  double time_constant_s{600.0};
};

/// The room warms and cools: the clock is `ppm` * sin(2 pi (t / period_s + phase)) fast, on top.
struct Swing {
  double ppm{0.0};
  double period_s{3600.0};
  double phase{0.0};  ///< in turns
};

/// One recorder's clock. A guest's start counts the way to the mix: it is the place in the mix
/// where the recording's first sample is heard.
struct Clock {
  double rate_hz{48000.0};  ///< at which samples are made; at least 8000
  double drift_ppm{0.0};    ///< positive: fast, too many samples
  double start_s{0.0};      ///< timeline second of the first sample; may be far before the mix
  double length_s{0.0};     ///< in the recorder's own seconds; 0: until the mix ends
  WarmUp warm_up{};
  Swing swing{};
  double header_rate_hz{0.0};    ///< what the file says of its rate; 0: the truth
  std::vector<Damage> damage{};  ///< of all files of this recorder

  double file_rate_hz() const { return header_rate_hz > 0.0 ? header_rate_hz : rate_hz; }
  /// Timeline second of a second on the recorder's own clock. Exact to the rounding of a double.
  double line_of(double own_s) const;
  /// Its inverse.
  double own_of(double line_s) const;
};

/// What happens to a guest's voice on its way into the mix. The codec and the steps move it in
/// time, and the truth counts that; excursions and the staircase are the mix's trouble, and the
/// truth goes straight through them.
struct Stream {
  Coding coding;             ///< Opus at 24 or 32 kbit/s is typical
  double low_pass_hz{0.0};   ///< 0: none; a linear-phase filter, its delay taken out
  double gate_db{0.0};       ///< below 0: pauses are turned down by this much
  double gain_riding_db{0};  ///< a level control that follows nobody, within +- this
  std::vector<Excursion> excursions;
  std::vector<BufferStep> steps;
  bool steps_in_pauses{true};  ///< each step waits for the nearest pause of the guest
  double staircase_s{0.0};     ///< above 0: played on the mix's clock, with splices of this length
};

/// What a recorder's input is patched to. A room's microphone goes into the mix only when it is
/// live; a guest's voice has another way there, whatever his recorder gets.
enum class Input {
  live,      ///< the person's own microphone
  silent,    ///< digital zeros
  dead,      ///< the recorder's own noise
  copy,      ///< what another person's input gets
  mixer_mix  ///< the sum of the room's microphones, as the mixer makes it for itself
};

/// A microphone that holds somebody else's voice over a loudspeaker. A guest's voice comes as the
/// mix has it, after its stream and while there is a mix; anybody else's as his own microphone has
/// it.
struct Leak {
  int from{0};             ///< a person; a guest's own voice comes back over a return loop
  double delay_s{0.12};    ///< 0 to 2, on the timeline; rounded to a frame of the world
  double level_db{-20.0};  ///< against that voice where it comes from
  bool dull{true};         ///< without brilliance, as from a small loudspeaker
  bool in_mix{false};      ///< the mix gets it too, not only the recording
};

/// Speech to order.
struct Words {
  double line_from_s{0.0};
  double length_s{0.0};
};

struct Person {
  std::string name;  ///< of the track and its file
  bool remote{false};
  int recorder{0};                   ///< index into SessionSpec::recorders; the room may share one
  std::optional<double> talk_share;  ///< part of the time, 0..1; nothing: an equal share of the
                                     ///< rest, and none where the input is no microphone of his
  double level_db{-23.0};            ///< mean level of the speech at its own microphone
  double noise_db{-78.0};            ///< microphone noise, in the mix too
  double recorder_noise_db{-96.0};   ///< noise of the recorder alone
  double gain_db{0.0};               ///< of the recording only
  bool inverted{false};              ///< the recording only
  Coding stored;                     ///< how the recording is kept
  Stream stream;                     ///< for guests
  std::vector<Damage> damage;        ///< of this file alone
  Input input{Input::live};
  int copy_of{0};                 ///< for Input::copy: a person with a live input
  double copy_gain_db{0.0};       ///< against that one's recording, its noise included
  bool copy_fresh_noise{false};   ///< its recorder noise is its own: no sample is the same
  bool mixer_has_returns{false};  ///< for Input::mixer_mix: guests are in it, as the mix has them
  std::vector<Leak> leaks;
  /// Whose voice, as numbered by the voice source; nothing: his own. People of one voice are takes
  /// of one person: the first of them counts for the talk, and whatever take runs gets it.
  std::optional<int> voice;
  std::vector<Words> words;    ///< all that he says, in place of a share of the talk
  bool comes_and_goes{false};  ///< is silent where his recorder does not run
  bool withheld{false};        ///< heard in the mix, but his file is not there
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
  Music music;
  double gain_riding_db{0.0};  ///< slow random gain per track, within +- this
  double duck_db{0.0};         ///< below 0: the microphones of silent people are turned down
  double peak_db{-2.0};        ///< the mix's highest sample, before coding
  bool bus_filters{false};     ///< high-pass at 80 Hz and a gentle presence shelf, minimum phase
  Coding coding;
  std::vector<Damage> damage;  ///< of the finished mix, in seconds of the whole one
};

struct SessionSpec {
  std::uint64_t seed{1};
  double length_s{120.0};  ///< of the mix
  std::vector<Clock> recorders;
  std::vector<Person> people;
  Room room;
  Mix mix;
  /// Every damage and every buffer step moves, by 30 s at most, to the nearest place with speech on
  /// both sides as TrueSeam::speech_near asks for.
  bool faults_amid_speech{false};
};

/// One recorder for `room` people, and one for each of `remote` guests (44.1 kHz for every second
/// one), drifts within +-100 ppm, starts from -20 to 10 s (a fifth of the mix at most), everything
/// lossless: a plain session to change before it is simulated. The same seed gives the same
/// session.
SessionSpec hybrid_session(std::uint64_t seed, double length_s, int room, int remote);

/// A place where the line from a file's time to the timeline steps.
struct TrueSeam {
  double track_from_s{0.0};  ///< the seam itself in the file's time: nothing where sound is lost,
  double track_to_s{0.0};    ///< else the zeros, the second copy, or what the stream made double
  double line_s{0.0};        ///< timeline second at which the sound before it ends
  double line_after_s{0.0};  ///< and with which the sound goes on
  /// How much later on the timeline the sound lies than the line before it says: above 0 where
  /// a stretch was lost, below 0 where one was repeated or put in, 0 for zeros in place of sound.
  double step_s{0.0};
  bool repeated{false};  ///< the same stretch stands just before it: either of them is too much
  std::string cause;     ///< track, recorder, stream or mix; recorder only where it has other files
  /// The person (of the recorder's damage: somebody of that recorder; of the mix's: anybody) speaks
  /// for 1.5 s or more in the 5 s before `line_s`, and in the 5 s after `line_after_s`.
  bool speech_near{false};
};

/// A buffer step as the truth counts it.
struct HeardStep {
  double world_s{0.0};  ///< world second of the voice from which on it counts
  double added_s{0.0};  ///< how late all steps so far make the voice
};

struct SimulatedTrack {
  std::string name;
  bool remote{false};
  int recorder{0};
  bool inverted{false};
  Clock clock;
  Coding stored;
  bool withheld{false};          ///< nobody gets this file: it has no samples
  std::vector<float> samples;    ///< as a reader finds them: after coding
  std::vector<char> encoded;     ///< the file's bytes, where a lossy codec stores it
  double way_delay_s{0.0};       ///< what lossy codecs on the way into the mix added
  double stored_delay_s{0.0};    ///< what the recording's own lossy codec added, in track seconds
  FileMap file;                  ///< what damage left of the recording
  std::vector<HeardStep> steps;  ///< of its stream, in order
  std::vector<TrueSeam> seams;   ///< in order of the file's time
  std::vector<Excursion> excursions;  ///< of its stream, on the timeline

  /// Track time is the file's: its samples over the rate that its header states.
  double length_s() const { return static_cast<double>(samples.size()) / clock.file_rate_hz(); }
  /// The truth: the timeline second at which a second of this file is heard. The codecs' delays
  /// are measured (see Coded); without codecs and damage it is the clock's own line. Inserted zeros
  /// count as the sound that would have gone on. `track_s` may lie outside of the file.
  double line_of(double track_s) const;
  /// Timeline second of a second of the undamaged recording, on the recorder's clock.
  double line_of_own(double own_s) const;
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
  FileMap mix_file;                    ///< what damage left of the mix
  std::vector<TrueSeam> mix_seams;     ///< "track" there means the mix
  double mix_delay_s{0.0};             ///< what the mix's own lossy codec added

  double line_of(std::size_t track, double track_s) const { return tracks[track].line_of(track_s); }
  /// The timeline is the time of the mix as it was before any damage.
  double line_of_mix(double mix_s) const;
  /// Its inverse: where the mix first holds a moment of the timeline. Nothing where that is lost.
  std::optional<double> mix_of_line(double line_s) const;
};

/// Makes the session. The talk goes on for all the time that any recording or the mix covers.
/// The same bits for the same spec, voices and libraries, whatever `threads` is.
/// Fails (bad_command) where the spec makes no sense, and where a codec is missing.
/// Cost, measured: 7 s of one core for 8 minutes of 4 + 2 people, 3 to 7 s more for each 8 minutes
/// through MP3 or Opus. Memory: 4 bytes per sample of each track, the talk and the mix.
/// Where no `files` are wanted, `encoded` and `mix_encoded` may stay empty; the rest is the same.
Result<Session> simulate(const SessionSpec& spec, const VoiceSource& voices, int threads,
                         CodedFile files = CodedFile::wanted);

}  // namespace kilter::simulator
