// What arrived: the tracks of a session, their figures, and what a person should know of them.
#pragma once

#include <cstddef>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/base/result.h"
#include "kilter/base/units.h"
#include "kilter/intake/intake.h"
#include "kilter/session/session.h"

namespace kilter::survey {

struct SurveyPart {
  std::string name;  ///< as the lineup says it
  Frames length;
};

/// One recording as it came, in one file or several. Where it could not be read, only its name and
/// why.
struct SurveyFile {
  std::string name;  ///< of the first file, as the lineup says it
  media::AudioInfo info;
  Frames length;
  std::optional<Error> failure;
  std::vector<SurveyPart>
      parts{};  ///< the files that it lies in, at least one; those that were read
  std::optional<media::StartStamp> stamp{};

  double length_s() const { return failure ? 0.0 : to_seconds(length, info.rate).s; }
};

/// How we know that a track is no person's but another copy of the mix.
enum class MixCopy {
  no,
  same_samples,  ///< as one of the mix's channels, from start to end
  same_name,     ///< the mix's own name with another ending, and its length
  mix_word       ///< its name alone says so, beside the mix that a person named
};

/// One person's sound: a channel of a file that is not the mix.
struct SurveyTrack {
  std::string name;                      ///< unique
  std::size_t file{0};                   ///< index into Survey::files
  int channel{1};                        ///< from 1
  std::vector<int> same_channels;        ///< further channels of the file with the same samples
  std::optional<intake::Levels> levels;  ///< nothing when unreadable
  std::shared_ptr<const AnalysisSignal> signal;  ///< nothing when silent, unreadable or not kept
  std::uint64_t digest{0};                       ///< of its samples (see SampleDigest)
  std::optional<std::size_t> copy_of;            ///< an earlier track with the same samples
  MixCopy mix_copy{MixCopy::no};
  std::string recorder;           ///< where session.toml says it
  std::optional<Role> role;       ///< where session.toml says it
  std::optional<double> start_s;  ///< where session.toml says it: timeline time of its first sample
  bool pinned{false};             ///< start_s is an order, not a hint
  std::vector<Finding> findings;
  Envelope envelope{};  ///< empty when unreadable
};

struct SurveyMix {
  std::size_t file{0};                 ///< index into Survey::files
  bool named_only{false};              ///< its name says so, and nothing was asked of the sound
  std::string found_by;                ///< for people, set by who found it: "by its name"
  std::vector<intake::Levels> levels;  ///< per channel; none when unreadable
  std::shared_ptr<const AnalysisSignal> signal;
  std::vector<Finding> findings;
  Envelope envelope{};  ///< of all channels; empty when unreadable
  /// Zeros in all of its channels that sound; none where time stamps tell what it lost.
  std::vector<intake::ZeroRun> zero_runs{};
};

struct Survey {
  std::string session;
  std::filesystem::path folder;
  std::vector<SurveyFile> files;
  std::optional<SurveyMix> mix;
  std::vector<SurveyTrack> tracks;  ///< in order of files, then channels
  std::vector<Finding> findings;    ///< about the session
  /// Files numbered in a row that are taken for recordings of their own.
  std::vector<session::NumberedPair> not_joined;
};

/// Makes tracks of files: one per channel, but one for channels with equal samples, and none for a
/// silent channel beside others that are not. A broken file keeps a row. `taken` is what
/// intake::take_in_all() gave for the session's files, in order; `mix` which of them is the mix.
/// Fails (no_input) where session.toml names a channel that its file does not have.
Result<Survey> make_survey(const session::Session& session,
                           const std::vector<Result<intake::IntakeFile>>& taken,
                           std::optional<std::size_t> mix);

/// Whether any finding asks for a person's decision, rather than just being told: of a track or of
/// the mix, of the session, of all of them. A seam does where a recorder, a file or the mix lost or
/// repeated a stretch, since no stem brings back what is lost; not where the network's stream
/// moved, for the recording is whole.
bool track_needs_person(const std::vector<Finding>& findings);
bool session_needs_person(const std::vector<Finding>& findings);
bool needs_person(const Survey& survey);

}  // namespace kilter::survey
