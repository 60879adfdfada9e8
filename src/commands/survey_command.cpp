#include <fmt/format.h>

#include <optional>
#include <system_error>

#include "commands.h"
#include "kilter/base/clock_text.h"
#include "kilter/conform/conform.h"
#include "kilter/edits/text_file.h"
#include "kilter/report/survey_page.h"
#include "kilter/report/survey_report.h"
#include "kilter/report/text_table.h"
#include "kilter/session/session_draft.h"
#include "outputs.h"
#include "sound_check.h"

namespace kilter::commands {
namespace {

namespace fs = std::filesystem;
using survey::Survey;
using survey::SurveyFile;
using survey::SurveyTrack;

session::DraftTrack draft_of(const SurveyTrack& track, const SurveyFile& file) {
  session::DraftTrack draft;
  draft.name = track.name;
  for (const survey::SurveyPart& part : file.parts) draft.parts.push_back(part.name);
  draft.channel = file.info.channels > 1 ? track.channel : 0;
  draft.remark = file.failure
                     ? "cannot be read"
                     : fmt::format("{}, {:g} kHz, {}", file.info.format, file.info.rate.hz / 1000.0,
                                   clock_text(file.length_s(), 0));
  for (const Finding& finding : track.findings) draft.remark += ", " + finding.code;
  return draft;
}

session::Draft draft_of(const Survey& survey, const fs::path& target) {
  session::Draft draft;
  draft.title = survey.session;
  std::error_code code;
  const fs::path here = fs::weakly_canonical(fs::absolute(target, code).parent_path(), code);
  if (here != survey.folder) {
    const fs::path relative = survey.folder.lexically_relative(here);
    draft.folder = (relative.empty() ? survey.folder : relative).generic_string();
  }
  if (survey.mix) draft.mix = survey.files[survey.mix->file].name;
  for (const SurveyTrack& track : survey.tracks)
    draft.tracks.push_back(draft_of(track, survey.files[track.file]));
  return draft;
}

/// Never over a file that is there: somebody may have edited it.
Result<fs::path> write_session(const Survey& survey) {
  const fs::path file = conform::safe_file_names({survey.session}).front() + ".session.toml";
  if (std::error_code code; fs::exists(file, code))
    return Error{ErrorKind::bad_command, file, "is there already",
                 "move it away, or run from another folder"};
  if (auto written = edits::write_text(file, session::session_text(draft_of(survey, file)));
      !written)
    return written.error();
  return file;
}

/// Why the page may not go there, as far as that can be told before any work: never over a file
/// that is no page of ours.
std::optional<Error> page_refusal(const fs::path& file, const session::Session& session) {
  if (auto refused = output_refusal(file, session)) return refused;
  std::error_code code;
  if (!fs::is_regular_file(file, code)) return std::nullopt;
  const auto text = edits::read_text(file);
  if (text && text->find("<meta name=\"generator\" content=\"kilter ") != std::string::npos)
    return std::nullopt;
  return Error{ErrorKind::bad_command, file, "is there already and is no page of kilter's",
               "name another file with --html, or move that one away"};
}

Result<void> write_page(const Survey& survey, const Options& options) {
  report::SurveyPage page;
  page.survey = &survey;
  if (options.sound_check)
    page.must_be_seen_to = [](const Finding& finding) { return wants_mending(finding); };
  page.version = "kilter " KILTER_VERSION;
  page.command = options.line;
  return edits::write_text(*options.html, report::survey_html(page));
}

}  // namespace

Result<Exit> survey_command(const Options& options, Console& console) {
  const auto session = open(options);
  if (!session) return session.error();
  if (options.html)
    if (auto refused = page_refusal(*options.html, *session)) return *std::move(refused);
  auto survey = load(*session, options, options.sound_check, console);
  if (!survey) return survey.error();
  if (options.sound_check)
    if (auto checked = check_sound(*survey, options, console); !checked) return checked.error();
  std::string written = options.sound_check ? sound_check_text(*survey) : "";
  if (options.write_session) {
    const auto file = write_session(*survey);
    if (!file) return file.error();
    written += "\nSession file  " + report::printable(file->string()) + '\n';
  }
  if (options.html) {
    if (auto page = write_page(*survey, options); !page) return page.error();
    written += "\nPage  " + report::printable(options.html->string()) + '\n';
  }
  const auto printed =
      console.print(options.json ? report::survey_json(*survey)
                                 : report::survey_text(*survey, console.columns()) + written);
  if (!printed) return printed.error();
  // No mix is needed before there is a show.
  const bool asks = options.sound_check ? wants_mending(*survey) : needs_person(*survey);
  return asks ? Exit::needs_person : Exit::done;
}

}  // namespace kilter::commands
