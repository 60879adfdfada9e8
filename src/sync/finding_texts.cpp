#include "finding_texts.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <optional>

#include "kilter/base/clock_text.h"
#include "kilter/base/quoted_names.h"
#include "kilter/sync/unexplained.h"

namespace kilter::sync {
namespace {

constexpr double kPulled = 0.0015;     // nearer to its header, it was pulled down or up
constexpr double kTellsRange_s = 1.0;  // a pause so long is told with both its ends

std::string times(const std::vector<Stretch>& stretches) {
  return stretches.size() == 1 ? std::string("once") : std::to_string(stretches.size()) + " times";
}

/// A run of digital silence or a stretch that is there twice is the seam itself.
bool is_seen(const SeamPlace& place) { return place.zeros || place.repeated; }

struct Range {
  double from_s;
  double to_s;
};

/// In a pause a seam may be anywhere that nothing is said. On the timeline; nothing where its place
/// is known.
std::optional<Range> range_of(const SeamPlace& place, double line_s) {
  if (is_seen(place)) return std::nullopt;
  const Range range{line_s + std::min(place.earliest_s - place.mix_end_s, 0.0),
                    line_s + std::max(place.latest_s - place.mix_end_s, 0.0)};
  return range.to_s - range.from_s > kTellsRange_s ? std::optional(range) : std::nullopt;
}

std::string place_text(const SeamPlace& place, double line_s) {
  const bool about = range_of(place, line_s) || place.loose_s > kLoose_s;
  return " at " + clock_text(line_s) + " of the timeline" + (about ? ", or so" : "");
}

/// A sentence of its own; empty where the place is known.
std::string range_text(const SeamPlace& place, double line_s) {
  const auto range = range_of(place, line_s);
  return range ? " It may be anywhere between " + clock_text(range->from_s) + " and " +
                     clock_text(range->to_s) + " of the timeline."
               : "";
}

/// What of a length of sound, in a sentence that begins with a blank; empty where all were running.
std::string not_started_text(const NotStarted& not_started, double of_s) {
  constexpr double kAll_s = 0.5;  // what is unexplained is told in half seconds
  if (not_started.names.empty()) return "";
  const bool all = not_started.seconds > of_s - kAll_s;
  return (all ? std::string(" All of that")
              : ' ' + clock_text(not_started.seconds, 1) + " of that") +
         " is from before the recording of " + quoted_names(not_started.names) +
         (not_started.names.size() == 1 ? " had been started: it may be that person."
                                        : " had been started: it may be one of those people.");
}

}  // namespace

std::string milliseconds(double s) {
  char text[32];
  std::snprintf(text, sizeof text, std::abs(s) < 1.0 ? "%.1f ms" : "%.3f s",
                std::abs(s) < 1.0 ? std::abs(s) * 1e3 : std::abs(s));
  return text;
}

Finding thin_evidence(const std::string& reason) {
  Finding finding;
  finding.code = "thin-evidence";
  finding.text = reason +
                 " Listen to it against the mix before you use it, and ask for a longer or clearer "
                 "recording where there is one.";
  return finding;
}

Finding seam_finding(const Seam& seam, double track_s, double line_s) {
  Finding finding;
  finding.code = "seam";
  finding.at_s = track_s;
  finding.line_s = line_s;
  finding.step_s = seam.step_s;
  const std::string amount = milliseconds(seam.step_s);
  std::string who;
  switch (seam.cause) {
    case SeamCause::recorder:
      finding.cause = "recorder";
      who = "the recorder";
      break;
    case SeamCause::stream:
      finding.cause = "stream";
      who = "the network stream into the mix";
      break;
    default:
      finding.cause = "track";
      who = "this file";
  }
  const std::string at = place_text(seam.place, line_s);
  const std::string range = range_text(seam.place, line_s);
  if (seam.cause == SeamCause::stream)
    finding.text = "From there on " + who + " carries it " + amount +
                   (seam.step_s > 0.0 ? " later" : " earlier") + at +
                   (seam.place.in_speech
                        ? ": the recording is whole, the mix moved."
                        : ": the mix moved, or the recording did in that pause, which no sound "
                          "tells apart.") +
                   range + " The stem follows the mix" +
                   (seam.step_s < 0.0 ? ", without what the mix skipped" : "") +
                   "; listen to the join.";
  else if (seam.step_s > 0.0)
    finding.text = who + " lost " + amount + " of sound" + at + "." + range +
                   " The stem has silence there; ask for the missing stretch if it was recorded "
                   "elsewhere too.";
  else
    finding.text = who + " has " + amount + " too much" + at +
                   (seam.place.zeros      ? ", a run of digital silence"
                    : seam.place.repeated ? ", a stretch that is there twice"
                                          : "") +
                   "." + range + " The stem leaves that out; listen to the join.";
  if (!finding.text.empty() && finding.text[0] >= 'a' && finding.text[0] <= 'z')
    finding.text[0] = static_cast<char>(finding.text[0] - 'a' + 'A');
  return finding;
}

Finding mix_seam_finding(const Seam& seam, double line_s) {
  Finding finding;
  finding.code = "mix-seam";
  finding.at_s = seam.place.mix_end_s;
  finding.line_s = line_s;
  finding.step_s = -seam.step_s;
  finding.cause = "mix";
  const std::string on_line = clock_text(line_s);
  const std::string on_mix = clock_text(seam.place.mix_end_s);
  const std::string amount = milliseconds(seam.step_s);
  const std::string own = seam.step_s < 0.0 ? "lost " + amount + " of the talk"
                                            : "has " + amount + " more than the recordings";
  const std::string others = seam.step_s < 0.0
                                 ? "the tracks that are heard there have as much too much"
                                 : "the tracks that are heard there lost it";
  finding.text =
      "The mix " + own + (seam.unsure ? ", or " + others + "," : "") + " at " + on_mix +
      " of the mix" + (on_line == on_mix ? "" : ", " + on_line + " of the timeline") +
      (seam.unsure ? ". It is treated as the mix's: the tracks stay whole and the timeline "
                     "runs on. Listen there to say which."
                   : ". The tracks stay whole and the timeline runs on; do not cut the "
                     "mix against it without this step.");
  return finding;
}

Finding excursion_finding(std::vector<Stretch> stretches, double furthest_s) {
  Finding finding;
  finding.code = "excursion";
  finding.text = "In the mix its network stream is " + milliseconds(furthest_s) +
                 (furthest_s > 0.0 ? " late" : " early") + " at the most, " + times(stretches) +
                 ", first at " + clock_text(stretches.front().line_from_s) +
                 " of the timeline, and comes back. The recording is whole and the stem is not "
                 "bent to follow; "
                 "use the stem there, not the mix.";
  finding.line_s = stretches.front().line_from_s;
  finding.step_s = furthest_s;
  finding.stretches = std::move(stretches);
  return finding;
}

Finding leak_finding(const Leak& leak, const std::string& from) {
  Finding finding;
  finding.code = "leak";
  const std::string level = std::to_string(std::lround(-leak.level_db)) + " dB below";
  const std::string delay = milliseconds(leak.delay_s) + (leak.delay_s >= 0.0 ? " late" : " early");
  if (leak.holder == leak.from)
    finding.text = "It holds its own voice a second time, " + delay + " and " + level +
                   " the first, as a return loop brings it about. Cut it where the person does "
                   "not speak.";
  else
    finding.text = "It also holds \"" + from + "\", " + delay + " and " + level +
                   " its own track, as a loudspeaker or open headphones bring it about. Turn it "
                   "down where only the other speaks.";
  finding.step_s = leak.delay_s;
  return finding;
}

Finding step_without_mix_finding(double track_s) {
  Finding finding;
  finding.code = "thin-evidence";
  finding.at_s = track_s;
  finding.text = "About " + clock_text(track_s) +
                 " of the recording it and those that it hears go over to another place against "
                 "each other: one of them may have lost or repeated a stretch there, and they lie "
                 "right together on one side at most. Listen on both sides of it, or name a mix "
                 "with --mix FILE.";
  return finding;
}

Finding leak_without_mix_finding(const std::vector<std::string>& sources) {
  Finding finding;
  finding.code = "leak";
  finding.text =
      "It also holds " + quoted_names(sources) +
      ", as a loudspeaker or open headphones bring it about, and is not heard there. It "
      "is placed by that alone: how late it came cannot be told without a mix. Listen to "
      "it against the others, and move it by as much.";
  return finding;
}

Finding duplicate_finding(const std::string& original, const CopyVerdict& copy) {
  Finding finding;
  finding.code = "duplicate";
  char gain[32];
  std::snprintf(gain, sizeof gain, "%+.1f dB", copy.gain_db);
  finding.text = std::string(copy.is_part ? "It is a part of \"" : "It is \"") + original +
                 "\" once more, at " + gain + (copy.inverted ? " and upside down" : "") +
                 (copy.is_part ? ". It is placed like that one; use that one, which is longer."
                               : ". It is placed like that one; use one of the two.");
  return finding;
}

Finding mix_copy_finding(const CopyVerdict& copy) {
  Finding finding;
  finding.code = "mix-copy";
  finding.text = copy.kind == CopyKind::of_mix || copy.whole
                     ? "It is the mix once more, no microphone of its own. It gets no stem; if a "
                       "person should be here, ask for that recording."
                     : "It holds several people's tracks together, as a mixer's own mix does, and "
                       "no microphone of its own. It gets no stem; if a person should be here, "
                       "look which input it was patched to.";
  return finding;
}

Finding wrong_rate_finding(double header_rate_hz, double ratio) {
  Finding finding;
  finding.code = "wrong-rate";
  finding.rate_hz = std::round(1e6 * header_rate_hz * ratio) / 1e6;  // whole where it is
  const auto hertz = [](double hz) {
    char text[32];
    std::snprintf(text, sizeof text, "%.10g Hz", hz);
    return std::string(text);
  };
  const bool is_pulled = std::abs(ratio - 1.0) < kPulled;
  finding.text =
      is_pulled ? std::string("It runs 0.1 % ") + (ratio < 1.0 ? "fast" : "slow") +
                      " against the mix, as sound does that was taken from film speed to video's "
                      "or back. The map puts it right, and so does the stem: cut with that."
                : "The file states " + hertz(header_rate_hz) + ", but it was recorded at " +
                      hertz(header_rate_hz * ratio) +
                      ". The map puts it right, and so does the stem; mend the original's header "
                      "before you cut with it.";
  return finding;
}

Finding missing_voice_finding(std::vector<Stretch> stretches, const NotStarted& not_started) {
  Finding finding;
  finding.code = "missing-voice";
  finding.text =
      "The mix holds somebody whom no track explains, " + times(stretches) + ", first at " +
      clock_text(stretches.front().line_from_s) + " of the timeline, lasting " +
      clock_text(total_s(stretches), 1) + " in all." +
      not_started_text(not_started, total_s(stretches)) +
      " Listen there, and ask for that person's recording while it can be had" +
      (not_started.names.empty() ? ", or for what a recorder that was started late has not."
                                 : ", or for what the late one has not.");
  finding.line_s = stretches.front().line_from_s;
  finding.stretches = std::move(stretches);
  return finding;
}

Finding mix_repeat_finding(MixRepeat repeat) {
  Finding finding;
  finding.code = "mix-repeat";
  finding.text =
      "The mix holds talk twice, as a teaser does: at " +
      clock_text(repeat.stretches.front().line_from_s) +
      " of the timeline, where no track explains it, " + clock_text(total_s(repeat.stretches), 1) +
      " in all, and again at " + clock_text(repeat.again_s) +
      ". No recording is missing there. Copy it from the stems, or take it from the mix.";
  finding.line_s = repeat.stretches.front().line_from_s;
  finding.stretches = std::move(repeat.stretches);
  return finding;
}

Finding unrecorded_finding(std::vector<Stretch> stretches) {
  Finding finding;
  finding.code = "unrecorded";
  finding.text = "Somebody talks in the mix while no recording runs, " + times(stretches) +
                 ", first at " + clock_text(stretches.front().line_from_s) +
                 " of the timeline, lasting " + clock_text(total_s(stretches), 1) +
                 " in all. The stems are silent there. Ask for files from before and after these, "
                 "or take it from the mix.";
  finding.line_s = stretches.front().line_from_s;
  finding.stretches = std::move(stretches);
  return finding;
}

Finding mix_music_finding(std::vector<Stretch> stretches) {
  Finding finding;
  finding.code = "mix-music";
  finding.text = "The mix holds music that no track does, " + times(stretches) + ", first at " +
                 clock_text(stretches.front().line_from_s) + " of the timeline, lasting " +
                 clock_text(total_s(stretches), 1) +
                 " in all. Take it from the mix, or lay the original in.";
  finding.line_s = stretches.front().line_from_s;
  finding.stretches = std::move(stretches);
  return finding;
}

}  // namespace kilter::sync
