#include "track_findings.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "kilter/base/clock_text.h"

namespace kilter::survey {
namespace {

// A voice rises further above the noise between its words, even a rare or distant one.
constexpr double kVoiceAboveFloorDb = 6.0;
constexpr double kDeadDbfs = -70.0;
// Speech is usually recorded with its loudest moments at -20 to -6.
constexpr double kLowLevelDbfs = -45.0;
constexpr double kOffset = 0.01;
constexpr double kShortest_s = 0.5;      // a word takes as long
constexpr double kNothingDbfs = -100.0;  // below what 16 bits hold
constexpr double kOverDbfs = 0.5;        // lossy decoders overshoot by less
// Less is how headers of lossy files round, and what their coders put before and behind the sound.
constexpr double kShortBy_s = 0.1;
constexpr Frames kPadding{4096};

Finding finding(const char* code, std::string text) {
  Finding result;
  result.code = code;
  result.text = std::move(text);
  return result;
}

/// How loud it speaks, and how loud it is between the words.
struct Speech {
  double level_dbfs;
  double loudest_dbfs;
  double floor_dbfs;
};

/// Hum is neither speech nor the noise that it has to rise above.
Speech speech_of(const intake::Levels& levels) {
  if (levels.hum) return {levels.hum->level_dbfs, levels.hum->loudest_dbfs, levels.hum->floor_dbfs};
  return {levels.level_dbfs, levels.loudest_dbfs, levels.floor_dbfs};
}

Finding hum(const Hum& hum) {
  return finding("hum", fmt::format("Hum of {:.0f} Hz at {:.0f} dBFS runs through it; its voice "
                                    "reaches {:.0f} dBFS. Filter it and its multiples out before "
                                    "editing, and mend the cable or the supply it comes from.",
                                    hum.hz, hum.dbfs, hum.loudest_dbfs));
}

Finding hum_alone(const Hum& hum) {
  return finding("hum", fmt::format("Hum of {:.0f} Hz at {:.0f} dBFS runs through it, as from an "
                                    "open or badly grounded input. Mend the cable.",
                                    hum.hz, hum.dbfs));
}

Finding dead(const intake::Levels& levels, double length_s) {
  // Digital silence for most of the time leaves the mean.
  const double level_dbfs = speech_of(levels).level_dbfs;
  const double noise_dbfs = std::isfinite(level_dbfs) ? level_dbfs : levels.rms_dbfs;
  return finding("dead", fmt::format("Only noise at {:.0f} dBFS and no voice above it, in all of "
                                     "its {}. Listen to it; if somebody should speak there, ask "
                                     "for another recording.",
                                     noise_dbfs, clock_text(length_s)));
}

Finding too_short(double length_s) {
  return finding("too-short",
                 fmt::format("Only {:.0f} ms long: no voice is known in so little. Check that the "
                             "file is whole; if nothing is missing, take it out of the session.",
                             1000.0 * length_s));
}

/// A recorder's input without a microphone, say.
Finding constant(double length_s) {
  return finding("dead", fmt::format("One constant value and no sound in all of its {}. Ask "
                                     "whether another file or microphone holds this person.",
                                     clock_text(length_s)));
}

Finding over(const intake::Levels& levels) {
  return finding("over", fmt::format("Peaks reach {:+.1f} dBFS. The file holds what is above full "
                                     "scale; stems of 16 or 24 bits do not: write them with "
                                     "--bits 32f.",
                                     levels.peak_dbfs));
}

Finding clipped(const intake::Levels& levels, SampleRate rate) {
  const double first_s = to_seconds(levels.first_clip, rate).s;
  Finding result = finding(
      "clipped",
      fmt::format("Cut off flat at the top in {} {}, {} {}. Listen there; ask whether a recording "
                  "with less gain exists.",
                  levels.clipped_runs, levels.clipped_runs == 1 ? "place" : "places",
                  levels.clipped_runs == 1 ? "at" : "first at", clock_text(first_s)));
  result.at_s = first_s;
  return result;
}

bool is_dead(const intake::Levels& levels) {
  const Speech speech = speech_of(levels);
  return speech.loudest_dbfs < kDeadDbfs ||
         speech.loudest_dbfs - speech.floor_dbfs < kVoiceAboveFloorDb;
}

/// What the distance of loud from quiet says, where there is enough to tell them apart.
void add_voice_findings(const intake::Levels& levels, double length_s,
                        std::vector<Finding>& findings) {
  const double loudest_dbfs = speech_of(levels).loudest_dbfs;
  if (is_dead(levels))
    findings.push_back(dead(levels, length_s));
  else if (loudest_dbfs < kLowLevelDbfs)
    findings.push_back(finding(
        "low-level", fmt::format("Very quiet: {:.0f} dBFS in its loudest moments. Check that this "
                                 "is the microphone that was meant; its noise comes up with it.",
                                 loudest_dbfs)));
  if (levels.hum) findings.push_back(is_dead(levels) ? hum_alone(*levels.hum) : hum(*levels.hum));
}

/// "3 places, the first at 00:00:12.500", "1 place, at 00:00:12.500".
std::string places(std::int64_t count, double first_s) {
  return fmt::format("{} {}, {} {}", count, count == 1 ? "place" : "places",
                     count == 1 ? "at" : "the first at", clock_text(first_s));
}

void add_truncated(const intake::IntakeFile& file, std::vector<Finding>& findings) {
  const double length_s = to_seconds(file.length, file.info.rate).s;
  const double claimed_s = to_seconds(file.info.claimed_length, file.info.rate).s;
  const double padding_s = file.info.lossy ? to_seconds(kPadding, file.info.rate).s : 0.0;
  const bool is_short = claimed_s - length_s > std::max(kShortBy_s, padding_s);
  const bool is_cut = is_short || file.damage || file.notes.breaks_off;
  if (!is_cut && !file.notes.unclosed) return;
  const bool in_parts = file.part_lengths.size() > 1;
  std::string text =
      in_parts ? clock_text(length_s) + " could be read" : "Breaks off at " + clock_text(length_s);
  if (is_short)
    text += " of the " + clock_text(claimed_s) +
            (in_parts ? " that the headers of its parts promise" : " that its header promises");
  if (file.damage) text += ": " + file.damage->what;
  text +=
      ". What is there is used; " +
      (file.damage ? file.damage->next_step : "copy the file again from where it was recorded") +
      '.';
  if (!is_cut)
    text =
        "Its recorder never wrote how long it is, as after a loss of power. It is read to its end, "
        "at " +
        clock_text(length_s) + "; ask whether the talk went on after that.";
  Finding result = finding("truncated", std::move(text));
  result.at_s = length_s;
  findings.push_back(std::move(result));
}

/// The first jump that silence was put into, or that was not.
const media::StampJump* first_jump(const media::ReadNotes& notes, bool with_silence) {
  for (const media::StampJump& jump : notes.jumps)
    if ((jump.put_in.n > 0) == with_silence) return &jump;
  return nullptr;
}

std::int64_t count_filled(const media::ReadNotes& notes) {
  return std::count_if(notes.jumps.begin(), notes.jumps.end(),
                       [](const media::StampJump& jump) { return jump.put_in.n > 0; });
}

void add_jumps(const intake::IntakeFile& file, std::vector<Finding>& findings) {
  const media::ReadNotes& notes = file.notes;
  const std::int64_t filled = count_filled(notes);
  if (const auto* first = first_jump(notes, true)) {
    const double first_s = to_seconds(first->at, file.info.rate).s;
    Finding result = finding(
        "dropout",
        fmt::format("Sound is missing in {}, {} in all. Silence was put in so that the rest stays "
                    "in time. Ask whether this person's own device kept a recording.",
                    places(filled, first_s),
                    short_time_text(to_seconds(notes.put_in, file.info.rate).s)));
    result.at_s = first_s;
    findings.push_back(std::move(result));
  }
  if (const auto* first = first_jump(notes, false)) {
    const double first_s = to_seconds(first->at, file.info.rate).s;
    const double left_out_s = to_seconds(notes.left_out, file.info.rate).s;
    Finding result = finding(
        "overlap", fmt::format("Its time stamps go back in {}; {} that came twice was left out. "
                               "Listen there.",
                               places(std::ssize(notes.jumps) - filled, first_s),
                               short_time_text(left_out_s)));
    result.at_s = first_s;
    findings.push_back(std::move(result));
  }
}

Finding zeros_in_sound(const intake::Levels& levels, SampleRate rate) {
  const double first_s = to_seconds(levels.first_dropout, rate).s;
  Finding result = finding(
      "dropout",
      fmt::format(
          "Digital silence breaks into loud sound in {}, about {} in all: the recorder wrote "
          "nothing there. Listen there; ask whether another recording holds it.",
          places(levels.dropouts, first_s),
          short_time_text(to_seconds(levels.dropout_frames, rate).s)));
  result.at_s = first_s;
  return result;
}

/// Damage that no time stamp tells the length of, and that is not the file's end.
void add_undecoded(const intake::IntakeFile& file, std::vector<Finding>& findings) {
  const media::ReadNotes& notes = file.notes;
  const std::int64_t inside = notes.lost_packets - (notes.breaks_off ? 1 : 0);
  if (inside <= 0 || notes.jump_count > 0) return;
  findings.push_back(finding(
      "dropout", fmt::format("{} of its packets cannot be decoded ({}), and what follows them may "
                             "stand early. Copy the file again from where it was recorded.",
                             inside, notes.first_loss)));
}

void add_not_numbers(const intake::IntakeFile& file, std::vector<Finding>& findings) {
  if (file.notes.not_numbers == 0) return;
  const double first_s = to_seconds(file.notes.first_not_number, file.info.rate).s;
  Finding result =
      finding("not-a-number",
              fmt::format("{} of its samples are no numbers or beyond all sense, the first at {}: "
                          "silence stands for them. "
                          "Listen there; write the file anew from the program that made it.",
                          file.notes.not_numbers, clock_text(first_s)));
  result.at_s = first_s;
  findings.push_back(std::move(result));
}

void add_further_sounds(const intake::IntakeFile& file, std::vector<Finding>& findings) {
  if (file.info.further_sounds <= 0) return;
  findings.push_back(
      finding("further-sound",
              fmt::format("Holds {} streams of sound, and only one of them is read. If another "
                          "holds somebody else, save it as a file of its own.",
                          file.info.further_sounds + 1)));
}

}  // namespace

std::string as_sentence(std::string text) {
  if (text.empty()) return text;
  if (text.front() >= 'a' && text.front() <= 'z')
    text.front() = static_cast<char>(text.front() - 'a' + 'A');
  if (text.back() != '.') text += '.';
  return text;
}

std::vector<Finding> level_findings(const intake::Levels& levels, double length_s,
                                    SampleRate rate) {
  if (is_silent(levels))
    return {finding("silent", fmt::format("Nothing but silence in all of its {}. Ask whether "
                                          "another file or microphone holds this person.",
                                          clock_text(length_s)))};
  if (length_s < kShortest_s) return {too_short(length_s)};
  if (levels.rms_dbfs < kNothingDbfs) return {constant(length_s)};
  std::vector<Finding> findings;
  add_voice_findings(levels, length_s, findings);
  if (levels.peak_dbfs > kOverDbfs) findings.push_back(over(levels));
  if (levels.clipped_runs > 0) findings.push_back(clipped(levels, rate));
  if (levels.dropouts > 0) findings.push_back(zeros_in_sound(levels, rate));
  if (std::fabs(levels.dc) > kOffset)
    findings.push_back(
        finding("dc", fmt::format("A constant offset of {:.0f} % of full scale throughout. Filter "
                                  "it out below 20 Hz before editing, or cuts will click.",
                                  100.0 * levels.dc)));
  return findings;
}

std::vector<Finding> file_findings(const intake::IntakeFile& file) {
  std::vector<Finding> findings;
  add_truncated(file, findings);
  add_jumps(file, findings);
  add_undecoded(file, findings);
  add_not_numbers(file, findings);
  add_further_sounds(file, findings);
  return findings;
}

Finding cancelling_channels(double share) {
  constexpr double kAll = 0.95;
  return finding(
      "cancelling",
      share > kAll
          ? "Its channels cancel each other when they are added up: one is upside down, and "
            "whoever "
            "hears it in mono hears next to nothing. Its loudest channel alone was listened to; "
            "its "
            "stem is as it came. Turn one channel over, or ask for the mix again."
          : fmt::format(
                "In {:.0f} % of its sound its channels cancel each other when they are added "
                "up: a voice, or a stretch, is upside down in one of them, and lost in mono. "
                "Its loudest channel alone was listened to; its stem is as it came. Mend "
                "the mix, or ask for it again.",
                100.0 * share));
}

Finding silent_mix(double length_s) {
  return finding("silent", fmt::format("Nothing but silence in all of its {}, so nothing can be "
                                       "placed in it. Ask for the mixdown again, or name another "
                                       "with --mix FILE.",
                                       clock_text(length_s)));
}

Finding zeros_in_mix(const intake::ZeroSum& zeros, SampleRate rate) {
  const double first_s = to_seconds(zeros.first, rate).s;
  Finding result = finding(
      "dropout",
      fmt::format("Digital silence breaks into loud sound in {}, about {} in all: what "
                  "was said there is not in the mix. Listen there; ask for the mix "
                  "again. Aligning tells who talks there.",
                  places(zeros.runs, first_s), short_time_text(to_seconds(zeros.frames, rate).s)));
  result.at_s = first_s;
  return result;
}

std::vector<Finding> mix_start_findings(const media::AudioInfo& info) {
  std::vector<Finding> findings;
  // A video's own count of time is a millisecond's.
  constexpr double kLeast_s = 1.5e-3;
  if (info.has_lead_in)
    findings.push_back(finding(
        "lead-in",
        "Its coder puts 5 to 60 ms of lead-in before the sound, and the file does not say how "
        "much: here that counts as its beginning. A program that cuts it away plays the mix that "
        "much earlier than the stems: listen to both there."));
  if (info.has_video && std::fabs(info.start_in_file_s) > kLeast_s)
    findings.push_back(finding(
        "sound-start", fmt::format("Its sound starts {} {} its picture. The stems start with the "
                                   "sound: lay them that much {} beside the video.",
                                   short_time_text(info.start_in_file_s),
                                   info.start_in_file_s > 0.0 ? "after" : "before",
                                   info.start_in_file_s > 0.0 ? "later" : "earlier")));
  return findings;
}

Finding unreadable_finding(const Error& error) {
  return finding("unreadable",
                 "Cannot be read: " + error.what + ". " + as_sentence(error.next_step));
}

}  // namespace kilter::survey
