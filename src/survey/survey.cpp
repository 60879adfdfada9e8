#include "kilter/survey/survey.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>

#include "kilter/base/utf8.h"
#include "kilter/session/names.h"
#include "track_findings.h"

namespace kilter::survey {
namespace {

using intake::IntakeChannel;
using intake::IntakeFile;
using session::DeclaredTrack;
using session::Session;
using Taken = std::vector<Result<IntakeFile>>;

// Only what stems and lists cannot put right. Told and no more: a wrong rate, which the map mends;
// an excursion, which is the mix's; a leak or a copy, which one hears to or leaves out.
constexpr std::array<std::string_view, 12> kTrackCodes{
    "cancelling", "silent",  "dead",         "too-short", "unreadable", "truncated",
    "unmatched",  "dropout", "not-a-number", "mix-seam",  "ends-early", "starts-late"};
// A silent channel beside others is told of, but nobody need act on it: it is no track.
constexpr std::array<std::string_view, 7> kSessionCodes{
    "no-mix",   "several-mixes", "missing-voice", "unrecorded",
    "left-out", "missing-part",  "wrong-rate"};

// Encoders put up to a tenth of a second before and behind a sound.
constexpr double kSameLength_s = 0.5;

SurveyFile file_row(const session::SessionFile& file, const Result<IntakeFile>& taken) {
  SurveyFile row;
  row.name = file.name;
  row.parts = {{file.name, {}}};
  if (!taken) {
    row.failure = taken.error();
    return row;
  }
  row.info = taken->info;
  row.length = taken->length;
  row.stamp = taken->stamp;
  // Read alone, or made up for a test: then all of it is the first file.
  row.parts.front().length = taken->part_lengths.empty() ? taken->length : taken->part_lengths[0];
  for (std::size_t i = 1; i < taken->part_lengths.size(); ++i)
    row.parts.push_back({file.later_parts[i - 1].name, taken->part_lengths[i]});
  return row;
}

const DeclaredTrack* declared(const Session& session, std::size_t file, int channel) {
  for (const DeclaredTrack& track : session.declared)
    if (track.file == file && track.channel == channel) return &track;
  return nullptr;
}

/// What session.toml says of this channel, or of the whole file.
void apply_declaration(const Session& session, SurveyTrack& track) {
  const DeclaredTrack* said = declared(session, track.file, track.channel);
  const DeclaredTrack* said_of_file = declared(session, track.file, 0);
  for (const DeclaredTrack* words : {said_of_file, said}) {
    if (words == nullptr) continue;
    if (!words->recorder.empty()) track.recorder = words->recorder;
    if (words->role) track.role = words->role;
    if (words->start_s) {
      track.start_s = words->start_s;
      track.pinned = words->pinned;
    }
  }
}

/// Whether session.toml gives any of the file's channels a person's role.
bool declared_a_person(const Session& session, std::size_t file) {
  return std::any_of(session.declared.begin(), session.declared.end(),
                     [&](const DeclaredTrack& track) {
                       return track.file == file && track.role && *track.role != Role::ignore &&
                              *track.role != Role::mix;
                     });
}

std::string track_name(const Session& session, std::size_t file, int channel, bool alone) {
  const DeclaredTrack* said = declared(session, file, channel);
  if (said != nullptr && !said->name.empty()) return said->name;
  const DeclaredTrack* said_of_file = declared(session, file, 0);
  std::string name = said_of_file != nullptr && !said_of_file->name.empty()
                         ? said_of_file->name
                         : session.files[file].path.stem().string();
  if (!alone) name += "-ch" + std::to_string(channel);
  return name;
}

MixCopy copy_by_name(const Session& session, const Taken& taken, std::size_t file,
                     std::optional<std::size_t> mix) {
  if (!mix || !taken[*mix] || declared_a_person(session, file)) return MixCopy::no;
  const double mix_s = to_seconds(taken[*mix]->length, taken[*mix]->info.rate).s;
  const double length_s = to_seconds(taken[file]->length, taken[file]->info.rate).s;
  if (session::differ_in_ending(session.files[file], session.files[*mix]) &&
      std::fabs(length_s - mix_s) < kSameLength_s)
    return MixCopy::same_name;
  // Where the sound chose the mix it heard the others, and a name is no better witness.
  const auto word = session::mix_word(session.files[file].path.stem().string());
  return session.mix && word == session::MixWord::yes ? MixCopy::mix_word : MixCopy::no;
}

bool sounds(const IntakeChannel& channel) {
  return channel.same_as < 0 && !is_silent(channel.levels);
}

SurveyTrack channel_track(const IntakeFile& file, std::size_t index, std::size_t channel) {
  SurveyTrack track;
  track.file = index;
  track.channel = static_cast<int>(channel) + 1;
  const IntakeChannel& own = file.channels[channel];
  for (std::size_t other = channel + 1; other < file.channels.size(); ++other)
    if (file.channels[other].same_as == static_cast<int>(channel))
      track.same_channels.push_back(static_cast<int>(other) + 1);
  track.levels = own.levels;
  track.digest = own.digest;
  track.envelope = own.envelope;
  if (!is_silent(own.levels)) track.signal = own.signal;
  const double length_s = to_seconds(file.length, file.info.rate).s;
  intake::Levels levels = own.levels;
  if (file.notes.put_in.n > 0) levels.dropouts = 0;  // told by the time stamps, and better
  track.findings = level_findings(levels, length_s, file.info.rate);
  for (Finding& finding : file_findings(file)) track.findings.push_back(std::move(finding));
  return track;
}

std::string listed(const std::vector<int>& numbers) {
  std::string text;
  for (std::size_t i = 0; i < numbers.size(); ++i) {
    if (i > 0) text += i + 1 == numbers.size() ? " and " : ", ";
    text += std::to_string(numbers[i]);
  }
  return text;
}

Finding silent_channels(const std::string& file, const std::vector<int>& channels) {
  const bool one = channels.size() == 1;
  Finding finding;
  finding.code = "silent";
  finding.text = (one ? "Channel " : "Channels ") + listed(channels) + " of \"" + file +
                 (one ? "\" holds" : "\" hold") +
                 " nothing but silence from start to end and became no track. If somebody sat at "
                 "such a microphone, ask for another recording.";
  return finding;
}

void add_tracks_of(const Session& session, const IntakeFile& file, std::size_t index,
                   MixCopy mix_copy, Survey& survey) {
  std::vector<int> silent;
  std::vector<std::size_t> kept;
  for (std::size_t c = 0; c < file.channels.size(); ++c) {
    if (sounds(file.channels[c])) kept.push_back(c);
    if (is_silent(file.channels[c].levels)) silent.push_back(static_cast<int>(c) + 1);
  }
  if (kept.empty())
    kept.push_back(0);  // a file that is silent altogether keeps one row, to be seen
  else if (!silent.empty())
    survey.findings.push_back(silent_channels(session.files[index].name, silent));
  if (mix_copy != MixCopy::no) kept.resize(1);  // one row tells of it
  for (const std::size_t channel : kept) {
    SurveyTrack track = channel_track(file, index, channel);
    track.name = track_name(session, index, track.channel, kept.size() == 1);
    if (!is_silent(file.channels[channel].levels)) track.mix_copy = mix_copy;
    apply_declaration(session, track);
    survey.tracks.push_back(std::move(track));
  }
}

void add_unreadable(const Session& session, const Error& error, std::size_t index, Survey& survey) {
  SurveyTrack track;
  track.file = index;
  track.name = track_name(session, index, 1, true);
  track.findings = {unreadable_finding(error)};
  apply_declaration(session, track);
  survey.tracks.push_back(std::move(track));
}

/// Where all channels that sound are zero; what time stamps tell of a file's losses is better.
std::vector<intake::ZeroRun> zero_runs_of(const IntakeFile& file) {
  if (file.notes.put_in.n > 0) return {};
  std::vector<std::vector<intake::ZeroRun>> channels;
  for (const IntakeChannel& channel : file.channels)
    if (!is_silent(channel.levels)) channels.push_back(channel.zero_runs);
  return zero_in_all(channels);
}

SurveyMix mix_of(const Result<IntakeFile>& taken, std::size_t index) {
  SurveyMix mix;
  mix.file = index;
  if (!taken) {
    mix.findings = {unreadable_finding(taken.error())};
    return mix;
  }
  std::vector<Envelope> envelopes;
  for (const IntakeChannel& channel : taken->channels) {
    mix.levels.push_back(channel.levels);
    envelopes.push_back(channel.envelope);
  }
  mix.envelope = joined(envelopes);
  mix.signal = intake::whole_signal(*taken);
  mix.findings = file_findings(*taken);
  if (std::all_of(mix.levels.begin(), mix.levels.end(), intake::is_silent))
    mix.findings.push_back(silent_mix(to_seconds(taken->length, taken->info.rate).s));
  if (taken->channels_cancel())
    mix.findings.push_back(cancelling_channels(taken->cancelling_share));
  mix.zero_runs = zero_runs_of(*taken);
  intake::ZeroTally zeros(taken->info.rate, intake::Zeroed::mix);
  for (const intake::ZeroRun& run : mix.zero_runs) zeros.add(run);
  if (zeros.dropouts().runs > 0)
    mix.findings.push_back(zeros_in_mix(zeros.dropouts(), taken->info.rate));
  for (Finding& finding : mix_start_findings(taken->info))
    mix.findings.push_back(std::move(finding));
  return mix;
}

/// Files that differ in their ending only are told apart by it, all others by numbers.
void make_names_unique(const Session& session, std::vector<SurveyTrack>& tracks) {
  std::vector<std::string> names;
  names.reserve(tracks.size());
  for (const SurveyTrack& track : tracks) {
    const auto& file = session.files[track.file];
    const bool has_double = std::any_of(tracks.begin(), tracks.end(), [&](const auto& other) {
      return other.file != track.file && session::lower(other.name) == session::lower(track.name) &&
             session::differ_in_ending(file, session.files[other.file]);
    });
    const std::string ending = file.path.extension().string();
    // Reports and lists of text take the names, whatever the files are called.
    names.push_back(as_utf8(has_double && ending.size() > 1 ? track.name + '-' + ending.substr(1)
                                                            : track.name));
  }
  names = session::made_unique(std::move(names));
  for (std::size_t i = 0; i < tracks.size(); ++i) tracks[i].name = names[i];
}

bool same_samples(const IntakeFile& a, const IntakeChannel& x, const IntakeFile& b,
                  const IntakeChannel& y) {
  return x.digest == y.digest && a.length == b.length && a.info.rate == b.info.rate;
}

const IntakeChannel& channel_of(const Taken& taken, const SurveyTrack& track) {
  return taken[track.file]->channels[static_cast<std::size_t>(track.channel) - 1];
}

bool has_mix_samples(const SurveyTrack& track, const Taken& taken, std::size_t mix) {
  if (!taken[mix]) return false;
  const auto& channels = taken[mix]->channels;
  return std::any_of(channels.begin(), channels.end(), [&](const IntakeChannel& channel) {
    return same_samples(*taken[track.file], channel_of(taken, track), *taken[mix], channel);
  });
}

std::optional<std::size_t> earlier_twin(const Survey& survey, std::size_t index,
                                        const Taken& taken) {
  const SurveyTrack& track = survey.tracks[index];
  for (std::size_t i = 0; i < index; ++i) {
    const SurveyTrack& other = survey.tracks[i];
    // What is left out as told is not there for others either.
    if (other.levels && !is_silent(*other.levels) && !other.copy_of && other.role != Role::ignore &&
        same_samples(*taken[track.file], channel_of(taken, track), *taken[other.file],
                     channel_of(taken, other)))
      return i;
  }
  return std::nullopt;
}

Finding duplicate_of(const std::string& other) {
  Finding finding;
  finding.code = "duplicate";
  finding.text = "Holds the same samples as \"" + other +
                 "\", from start to end. What is said of that one holds for it too; take one of "
                 "them out of the session.";
  return finding;
}

const char* text_of(MixCopy copy) {
  switch (copy) {
    case MixCopy::same_samples:
      return "Holds the same samples as the mix, from start to end. It gets no stem; take it out "
             "of the session.";
    case MixCopy::same_name:
      return "Has the mix's name and length, so it is another copy of the mix. It is left out and "
             "gets no stem; take it out of the session. If it is somebody's recording, give it "
             "another name.";
    case MixCopy::mix_word:
      return "Its name says that it is a mix, and another file was named as the mix. It is left "
             "out and gets no stem. Take it out of the session; if it is somebody's recording, "
             "give it another name, or a role in session.toml.";
    case MixCopy::no:
      break;
  }
  return "";
}

Finding mix_copy_finding(MixCopy copy) {
  Finding finding;
  finding.code = "mix-copy";
  finding.text = text_of(copy);
  return finding;
}

/// Copies would make the estimator's equations ambiguous, so they are told apart here.
void note_copies(const Taken& taken, Survey& survey) {
  for (std::size_t i = 0; i < survey.tracks.size(); ++i) {
    SurveyTrack& track = survey.tracks[i];
    if (!track.levels || is_silent(*track.levels)) continue;
    if (survey.mix && has_mix_samples(track, taken, survey.mix->file))
      track.mix_copy = MixCopy::same_samples;
    if (track.mix_copy != MixCopy::no) {
      track.findings.push_back(mix_copy_finding(track.mix_copy));
    } else if (const auto twin = earlier_twin(survey, i, taken)) {
      track.copy_of = twin;
      track.findings.push_back(duplicate_of(survey.tracks[*twin].name));
    }
  }
}

std::optional<Error> wrong_declaration(const Session& session, const Taken& taken) {
  for (const DeclaredTrack& track : session.declared) {
    const auto& file = taken[track.file];
    if (!file || track.channel <= file->info.channels) continue;
    return Error{ErrorKind::no_input, session.files[track.file].path,
                 "session.toml, line " + std::to_string(track.line) + ", names its channel " +
                     std::to_string(track.channel) + ", but it has " +
                     std::to_string(file->info.channels),
                 "mend session.toml"};
  }
  return std::nullopt;
}

template <std::size_t N>
bool any_is(const std::vector<Finding>& findings, const std::array<std::string_view, N>& codes) {
  return std::any_of(findings.begin(), findings.end(), [&](const Finding& finding) {
    return std::find(codes.begin(), codes.end(), finding.code) != codes.end();
  });
}

}  // namespace

Result<Survey> make_survey(const Session& session, const Taken& taken,
                           std::optional<std::size_t> mix) {
  if (auto error = wrong_declaration(session, taken)) return *std::move(error);
  Survey survey;
  survey.session = session.name;
  survey.folder = session.folder;
  survey.not_joined = session.not_joined;
  for (std::size_t i = 0; i < taken.size(); ++i) {
    survey.files.push_back(file_row(session.files[i], taken[i]));
    if (mix == i)
      survey.mix = mix_of(taken[i], i);
    else if (taken[i])
      add_tracks_of(session, *taken[i], i, copy_by_name(session, taken, i, mix), survey);
    else
      add_unreadable(session, taken[i].error(), i, survey);
  }
  make_names_unique(session, survey.tracks);
  note_copies(taken, survey);
  return survey;
}

bool track_needs_person(const std::vector<Finding>& findings) {
  return any_is(findings, kTrackCodes) ||
         std::any_of(findings.begin(), findings.end(), [](const Finding& finding) {
           return finding.code == "seam" && finding.cause != "stream";
         });
}

bool session_needs_person(const std::vector<Finding>& findings) {
  return any_is(findings, kSessionCodes);
}

bool needs_person(const Survey& survey) {
  return session_needs_person(survey.findings) ||
         (survey.mix && track_needs_person(survey.mix->findings)) ||
         std::any_of(survey.tracks.begin(), survey.tracks.end(), [](const SurveyTrack& track) {
           return track.role != Role::ignore &&
                  (track.mix_copy == MixCopy::mix_word || track_needs_person(track.findings));
         });
}

}  // namespace kilter::survey
