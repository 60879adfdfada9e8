#include "sound_check.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <memory>
#include <string_view>
#include <vector>

#include "kilter/intake/intake.h"
#include "kilter/intake/scratch_signal.h"
#include "kilter/report/text_table.h"
#include "kilter/sync/align.h"
#include "lineup_builder.h"

namespace kilter::commands {
namespace {

using survey::Survey;
using survey::SurveyFile;
using survey::SurveyTrack;

/// What to do about a finding; nothing where it does not matter before a show.
struct Remedy {
  std::string_view code;
  const char* text;
};
constexpr std::array kRemedies{
    Remedy{"silent",
           "Before the show: check its cable, its mute and its phantom power, and that "
           "its input is armed."},
    Remedy{"dead",
           "Before the show: check its cable, its mute and its phantom power, and that its "
           "input is the one it is plugged into."},
    Remedy{"low-level", "Before the show: raise its gain, or move the microphone nearer."},
    Remedy{"clipped", "Before the show: lower its gain."},
    Remedy{"over", "Before the show: lower its gain."},
    Remedy{"duplicate", "Before the show: give each input a microphone of its own in the patch."},
    Remedy{"mix-copy",
           "Before the show: if somebody should sit at this input, choose its "
           "microphone as the source in place of the mixer's mix."},
    Remedy{"leak",
           "Before the show: put the loudspeaker lower or give headphones; where a guest "
           "hears himself, send him the mix without his own voice."},
    Remedy{"inverted", "Before the show: switch the polarity of this input or change its cable."},
    Remedy{"unreadable", "Before the show: record the test again."},
    Remedy{"truncated", "Before the show: record the test again, and check the recorder's card."}};

const Remedy* remedy_of(const Finding& finding) {
  const auto found = std::find_if(kRemedies.begin(), kRemedies.end(),
                                  [&](const Remedy& each) { return each.code == finding.code; });
  return found == kRemedies.end() ? nullptr : found;
}

/// Tracks that started together and are as long: channels of a file, or files of one recorder.
std::vector<std::size_t> running_together(const Survey& survey) {
  const auto runs_with = [&](const SurveyTrack& a, const SurveyTrack& b) {
    const SurveyFile& one = survey.files[a.file];
    const SurveyFile& other = survey.files[b.file];
    return a.file == b.file || (one.length == other.length && one.info.rate == other.info.rate);
  };
  std::vector<std::size_t> most;
  for (const SurveyTrack& first : survey.tracks) {
    if (!first.signal) continue;
    std::vector<std::size_t> group;
    for (std::size_t i = 0; i < survey.tracks.size(); ++i)
      if (survey.tracks[i].signal && runs_with(first, survey.tracks[i])) group.push_back(i);
    if (group.size() > most.size()) most = std::move(group);
  }
  return most;
}

/// What the tracks are compared with.
struct Reference {
  std::shared_ptr<const AnalysisSignal> signal;
  sync::MixInput input;
  bool has_polarity{false};  ///< the sum of the inputs has none of its own
};

/// The mix, where there is one, and the sum of what ran together, where that is more than a track.
std::vector<Reference> references_of(const Survey& survey) {
  std::vector<Reference> references;
  if (survey.mix && survey.mix->signal) {
    const SurveyFile& file = survey.files[survey.mix->file];
    references.push_back(
        {survey.mix->signal, {survey.mix->signal.get(), file.length_s(), file.info.lossy}, true});
  }
  const std::vector<std::size_t> group = running_together(survey);
  if (group.size() < 2) return references;
  std::vector<std::shared_ptr<const AnalysisSignal>> signals;
  signals.reserve(group.size());
  for (const std::size_t track : group) signals.push_back(survey.tracks[track].signal);
  auto sum = std::make_shared<intake::MeanSignal>(std::move(signals));
  const double length_s = survey.files[survey.tracks[group.front()].file].length_s();
  references.push_back({sum, {sum.get(), length_s, false}, false});
  return references;
}

/// Takes over what matters before a show, unless the track is said to have it already.
void take_over(const sync::TrackPlacing& placing, bool has_polarity, SurveyTrack& track) {
  const std::vector<Finding> known = track.findings;
  for (const Finding& finding : placing.findings)
    if (remedy_of(finding) != nullptr && !holds(known, finding.code))
      track.findings.push_back(finding);
  if (!has_polarity || !placing.map || !placing.inverted || holds(known, "inverted")) return;
  Finding& inverted = track.findings.emplace_back();
  inverted.code = "inverted";
  inverted.text = "Its polarity is opposite to the mix's.";
}

Result<void> add_what_is_heard(Survey& survey, const Options& options, Console& console) {
  AlignInput inputs;
  add_measured_tracks(survey, inputs);
  if (inputs.tracks.empty()) return {};
  sync::AlignOptions align;
  align.threads = options.threads;
  align.open_store = intake::scratch_stores();
  align.stop = &console.stop();
  align.progress = [&](double done, const char* stage) { console.progress(stage, done); };
  for (const Reference& reference : references_of(survey)) {
    const auto heard = sync::align(reference.input, inputs.tracks, align);
    if (!heard) return heard.error();
    for (std::size_t k = 0; k < inputs.survey_tracks.size(); ++k)
      take_over(heard->tracks[k], reference.has_polarity, survey.tracks[inputs.survey_tracks[k]]);
  }
  return {};
}

void add_remedies(std::vector<Finding>& findings) {
  for (Finding& finding : findings)
    if (const Remedy* remedy = remedy_of(finding)) finding.text += std::string(" ") + remedy->text;
}

bool is_in_order(const SurveyTrack& track) {
  return std::none_of(track.findings.begin(), track.findings.end(),
                      [](const Finding& finding) { return remedy_of(finding) != nullptr; });
}

}  // namespace

Result<void> check_sound(Survey& survey, const Options& options, Console& console) {
  if (auto heard = add_what_is_heard(survey, options, console); !heard) return heard;
  for (SurveyTrack& track : survey.tracks) add_remedies(track.findings);
  add_remedies(survey.findings);
  return {};
}

bool wants_mending(const Finding& finding) { return remedy_of(finding) != nullptr; }

bool wants_mending(const Survey& survey) {
  return !std::all_of(survey.tracks.begin(), survey.tracks.end(), is_in_order) ||
         std::any_of(survey.findings.begin(), survey.findings.end(),
                     [](const Finding& finding) { return remedy_of(finding) != nullptr; });
}

std::string sound_check_text(const Survey& survey) {
  const auto all = survey.tracks.size();
  const auto good = static_cast<std::size_t>(
      std::count_if(survey.tracks.begin(), survey.tracks.end(), is_in_order));
  if (!wants_mending(survey))
    return all == 1
               ? "\nSound check: the only input is alive and holds its own signal.\n"
               : fmt::format("\nSound check: all {} inputs are alive and hold their own signal.\n",
                             all);
  return fmt::format("\nSound check: {} of {} inputs are in order; see what to mend above.\n", good,
                     all);
}

}  // namespace kilter::commands
