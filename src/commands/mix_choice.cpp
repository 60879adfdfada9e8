#include "mix_choice.h"

#include <fmt/format.h>

#include <algorithm>
#include <memory>

#include "kilter/sync/align.h"

namespace kilter::commands {
namespace {

using intake::IntakeFile;
using session::NamedMixes;
using session::Session;
using Taken = std::vector<Result<IntakeFile>>;

constexpr const char* kNameIt = " Name it with --mix FILE.";

Finding no_mix() {
  Finding finding;
  finding.code = "no-mix";
  finding.text = std::string("No file is known as the mix, by its name or by its sound.") + kNameIt;
  return finding;
}

std::string in_quotes(const Session& session, const std::vector<std::size_t>& files) {
  std::string text;
  for (std::size_t i = 0; i < files.size(); ++i) {
    if (i > 0) text += i + 1 == files.size() ? " and " : ", ";
    text += '"' + session.files[files[i]].name + '"';
  }
  return text;
}

MixPick several(const Session& session, const std::vector<std::size_t>& files) {
  Finding finding;
  finding.code = "several-mixes";
  finding.text = in_quotes(session, files) + " could each be the mix." + kNameIt;
  return {std::nullopt, "", finding};
}

/// Whether session.toml gives the whole file another role than the mix's.
bool is_told_no_mix(const Session& session, std::size_t file) {
  return std::any_of(session.declared.begin(), session.declared.end(), [&](const auto& track) {
    return track.file == file && track.channel == 0 && track.role && *track.role != Role::mix;
  });
}

NamedMixes named_mixes(const Session& session) {
  NamedMixes named = session::find_named_mixes(session.files);
  std::erase_if(named.files, [&](std::size_t file) { return is_told_no_mix(session, file); });
  return named;
}

bool same_sound(const IntakeFile& a, const IntakeFile& b) {
  return a.length == b.length &&
         std::equal(a.channels.begin(), a.channels.end(), b.channels.begin(), b.channels.end(),
                    [](const auto& x, const auto& y) { return x.digest == y.digest; });
}

/// The readable files that are not silent, each as one signal; of one sound in two formats the
/// better, since no mix can be told from its own copy.
struct Candidates {
  std::vector<std::size_t> files;
  std::vector<std::shared_ptr<const AnalysisSignal>> signals;
  std::vector<sync::TrackInput> inputs;
};

Candidates candidates_of(const Session& session, const Taken& taken) {
  Candidates candidates;
  for (const std::size_t i : session::best_of_each_name(session.files)) {
    if (!taken[i] || is_told_no_mix(session, i)) continue;
    auto signal = intake::whole_signal(*taken[i]);
    if (!signal) continue;
    const double length_s = to_seconds(taken[i]->length, taken[i]->info.rate).s;
    candidates.inputs.push_back(
        {session.files[i].name, signal.get(), length_s, taken[i]->info.lossy});
    candidates.files.push_back(i);
    candidates.signals.push_back(std::move(signal));
  }
  return candidates;
}

/// Why the sound says so: "by its sound: all 5 others are in it".
std::string by_sound(const sync::MixChoice& choice, const Candidates& candidates,
                     const char* what) {
  const std::size_t others = candidates.files.size() - 1;
  const auto heard = static_cast<std::size_t>(choice.heard_in_it);
  if (others == 1) return fmt::format("{}: the other file is in it", what);
  return heard == others ? fmt::format("{}: all {} others are in it", what, others)
                         : fmt::format("{}: {} of {} others are in it", what, heard, others);
}

MixPick fall_back(const Session& session, const NamedMixes& named) {
  if (named.files.size() == 1) return {named.files.front(), "by its name", {}};
  if (named.files.size() > 1) return several(session, named.files);
  return {std::nullopt, "", no_mix()};
}

}  // namespace

std::optional<MixPick> mix_by_name(const Session& session) {
  if (session.mix) return MixPick{session.mix, "as told", {}};
  const NamedMixes named = named_mixes(session);
  if (named.sure && named.files.size() == 1)
    return MixPick{named.files.front(), "by its name", {}, true};
  return std::nullopt;
}

Result<MixPick> mix_by_sound(const Session& session, const Taken& taken, int threads,
                             Console& console) {
  const NamedMixes named = named_mixes(session);
  const Candidates candidates = candidates_of(session, taken);
  if (candidates.files.size() < 2) return fall_back(session, named);
  sync::AlignOptions options;
  options.threads = threads;
  options.open_store = intake::scratch_stores();
  options.stop = &console.stop();
  options.progress = [&](double done, const char* stage) { console.progress(stage, done); };
  console.progress("looking for the mix", 0.0);
  const auto choice = sync::find_mix(candidates.inputs, options);
  if (!choice) return choice.error();
  if (choice->index < 0) return fall_back(session, named);
  std::size_t file = candidates.files[static_cast<std::size_t>(choice->index)];
  const std::string why = by_sound(*choice, candidates, "by its sound");
  if (choice->rival < 0) return MixPick{file, why, {}};

  const std::size_t rival = candidates.files[static_cast<std::size_t>(choice->rival)];
  if (same_sound(*taken[file], *taken[rival])) return MixPick{std::min(file, rival), why, {}};
  // Sound leaves two; a name may single one out.
  const auto is_named = [&](std::size_t index) {
    return std::find(named.files.begin(), named.files.end(), index) != named.files.end();
  };
  if (is_named(file) != is_named(rival))
    return MixPick{
        is_named(file) ? file : rival, by_sound(*choice, candidates, "by its sound and name"), {}};
  return several(session, {std::min(file, rival), std::max(file, rival)});
}

Result<std::optional<Finding>> doubt_of_named_mix(const survey::Survey& survey,
                                                  const AlignInput& input,
                                                  const sync::Alignment& alignment,
                                                  const sync::AlignOptions& options) {
  const bool all_fit = std::none_of(
      alignment.tracks.begin(), alignment.tracks.end(), [](const sync::TrackPlacing& placing) {
        return placing.standing == Standing::unplaced ||
               (holds(placing.findings, "mix-copy") && !placing.is_mix_again);
      });
  if (!survey.mix->named_only || all_fit) return std::optional<Finding>{};
  const std::string& named = survey.files[survey.mix->file].name;
  std::vector<sync::TrackInput> signals{
      {named, input.mix.signal, input.mix.length_s, input.mix.lossy}};
  signals.insert(signals.end(), input.tracks.begin(), input.tracks.end());
  const auto choice = sync::find_mix(signals, options);
  if (!choice) return choice.error();
  if (choice->index <= 0) return std::optional<Finding>{};
  if (alignment.tracks[static_cast<std::size_t>(choice->index) - 1].is_mix_again)
    return std::optional<Finding>{};
  const auto track = input.survey_tracks[static_cast<std::size_t>(choice->index) - 1];
  const std::string& other = survey.files[survey.tracks[track].file].name;
  Finding finding;
  finding.code = "several-mixes";
  finding.text = fmt::format(
      "\"{}\" was taken for the mix by its name, but by its sound that is \"{}\": {} of {} others "
      "are in it. Listen to both; if the sound is right, name it with --mix FILE.",
      named, other, choice->heard_in_it, signals.size() - 1);
  return std::optional(finding);
}

}  // namespace kilter::commands
