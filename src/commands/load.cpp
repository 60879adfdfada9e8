#include "load.h"

#include <optional>
#include <vector>

#include "kilter/intake/intake.h"
#include "kilter/session/split_takes.h"
#include "mix_choice.h"

namespace kilter::commands {
namespace {

using Taken = std::vector<Result<intake::IntakeFile>>;

Taken take_in(const session::Session& session, const Options& options, bool keep_signals,
              Console& console) {
  std::vector<intake::Recording> recordings;
  for (const session::SessionFile& file : session.files) {
    recordings.emplace_back(file.path);
    for (const session::FilePart& part : file.later_parts)
      recordings.back().parts.push_back(part.path);
  }
  intake::IntakeOptions intake;
  intake.threads = options.threads;
  intake.keep_signals = keep_signals;
  intake.measure_loudness = options.command == Command::survey;
  intake.stop = &console.stop();
  intake.progress = [&](double done) { console.progress("reading", done); };
  return intake::take_in_all(recordings, intake);
}

/// An error that is not one file's own.
std::optional<Error> common_error(const Taken& taken) {
  for (const auto& file : taken)
    if (!file && file.error().kind != ErrorKind::unreadable) return file.error();
  return std::nullopt;
}

/// Tells of broken files as the user named them. When all are, the last one is the failure.
Result<void> report_broken(const session::Session& session, const Taken& taken, Console& console) {
  std::vector<Error> errors;
  for (std::size_t i = 0; i < taken.size(); ++i) {
    if (taken[i]) continue;
    errors.push_back(taken[i].error());
    errors.back().file = session.files[i].name;
  }
  const bool all = errors.size() == taken.size();
  for (std::size_t i = 0; i + (all ? 1 : 0) < errors.size(); ++i) console.report(errors[i]);
  if (all) return errors.back();
  return {};
}

/// What lies in the folder and was not looked at, so that nobody misses it in silence.
std::vector<Finding> left_out_findings(const std::vector<session::LeftOut>& left_out) {
  using Why = session::LeftOut::Why;
  std::string files;
  std::string folders;
  for (const session::LeftOut& each : left_out) {
    std::string& list = each.why == Why::folder ? folders : files;
    list += (list.empty() ? "\"" : ", \"") + each.name + '"';
    if (each.why == Why::leads_elsewhere)
      list += " (a link that leads out of the folder, or to no file)";
    if (each.why == Why::no_file) list += " (no ordinary file)";
    if (each.why == Why::unfinished) list += " (named like a file that is still being copied)";
  }
  std::vector<Finding> findings;
  const auto add = [&](const char* code, std::string text) {
    Finding& finding = findings.emplace_back();
    finding.code = code;
    finding.text = std::move(text);
  };
  if (!files.empty())
    add("left-out", "Not looked at: " + files +
                        ". Put the file itself, whole, into the folder if it belongs to the "
                        "session; else move it out.");
  if (!folders.empty())
    add("folder-left-out", "Not looked into, though they hold audio files: " + folders +
                               ". Move the files up, or name them in session.toml, if they belong "
                               "to the session.");
  return findings;
}

}  // namespace

Result<session::Session> open(const Options& options) {
  auto session = session::open_session(options.session, options.mix);
  if (!session) return session;
  session::join_split_takes(*session);
  return session;
}

Result<survey::Survey> load(const session::Session& session, const Options& options,
                            bool for_alignment, Console& console) {
  std::optional<MixPick> mix = mix_by_name(session);
  const Taken taken = take_in(session, options, for_alignment || !mix, console);
  if (auto error = common_error(taken)) return *std::move(error);
  if (auto usable = report_broken(session, taken, console); !usable) return usable.error();
  if (!mix) {
    auto pick = mix_by_sound(session, taken, options.threads, console);
    if (!pick) return pick.error();
    mix = *std::move(pick);
  }
  auto survey = survey::make_survey(session, taken, mix->file);
  if (!survey) return survey.error();
  if (survey->mix) {
    survey->mix->found_by = mix->found_by;
    survey->mix->named_only = mix->named_only;
  }
  if (mix->finding) survey->findings.push_back(*mix->finding);
  for (Finding& finding : left_out_findings(session.left_out))
    survey->findings.push_back(std::move(finding));
  return survey;
}

}  // namespace kilter::commands
