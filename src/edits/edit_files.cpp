#include "kilter/edits/edit_files.h"

#include <optional>
#include <system_error>

#include "kilter/edits/cuts.h"
#include "kilter/edits/decision_list.h"
#include "kilter/edits/text_file.h"

namespace kilter::edits {
namespace {

namespace fs = std::filesystem;

constexpr const char* kCuts = "cuts.tsv";

// The names of the lists, `number` from 1.
fs::path session_list(const std::string& name, std::size_t number) {
  return name + (number == 1 ? "" : '-' + std::to_string(number)) + ".edl";
}
fs::path stem_list(const std::string& name, std::size_t number) {
  return session_list(name + "-stems", number);
}
/// A folder for each number: a track may be called "mate-2".
fs::path track_list(const std::string& track, std::size_t number) {
  const fs::path folder = "by-track";
  return (number == 1 ? folder : folder / std::to_string(number)) / (track + ".edl");
}
using NameOfList = fs::path (*)(const std::string& name, std::size_t number);

/// Writes files below a folder until one fails.
class FolderWriter {
 public:
  explicit FolderWriter(const fs::path& folder) : folder_(folder) {}

  void write(const fs::path& name, const std::string& text) {
    const fs::path file = folder_ / name;
    std::error_code problem;
    if (!error_) fs::create_directories(file.parent_path(), problem);
    if (problem)
      error_ = Error{ErrorKind::cannot_write, file.parent_path(),
                     "cannot be made (" + problem.message() + ")",
                     "check your rights and the room on the disk"};
    if (error_) return;
    if (auto written = write_text(file, text); written)
      files_.push_back(name);
    else
      error_ = written.error();
  }
  void write(NameOfList name_of, const std::string& name, const std::vector<std::string>& texts) {
    for (std::size_t i = 0; i < texts.size(); ++i) write(name_of(name, i + 1), texts[i]);
  }

  Result<std::vector<fs::path>> take() {
    if (error_) return *error_;
    return std::move(files_);
  }

 private:
  const fs::path& folder_;
  std::vector<fs::path> files_;
  std::optional<Error> error_;
};

void add_if_there(std::vector<fs::path>& files, const fs::path& folder, const fs::path& name) {
  std::error_code ignored;
  if (fs::is_regular_file(folder / name, ignored)) files.push_back(name);
}

void add_lists(std::vector<fs::path>& files, const fs::path& folder, NameOfList name_of,
               const std::string& name) {
  std::error_code ignored;
  for (std::size_t i = 1; fs::is_regular_file(folder / name_of(name, i), ignored); ++i)
    files.push_back(name_of(name, i));
}

}  // namespace

Result<std::vector<fs::path>> write_edit_files(const Lineup& lineup, const EditFilesPlan& plan,
                                               const fs::path& folder) {
  FolderWriter writer(folder);
  writer.write(kCuts, cuts_text(lineup, plan.record));
  writer.write(session_list, plan.name, event_lists(lineup, plan.record, plan.facts_of));
  writer.write(stem_list, plan.name, stem_event_lists(lineup, plan.stems, plan.record));
  writer.write(plan.name + ".adl",
               decision_list(lineup, plan.record, {plan.session_folder, plan.created}));
  const std::string stems =
      stem_decision_list(lineup, plan.stems, plan.record, {plan.stems_folder, plan.created});
  if (!stems.empty()) writer.write(plan.name + "-stems.adl", stems);
  std::size_t used = 0;
  for (const LineupTrack& track : lineup.tracks)
    if (track.is_used() && plan.track_names.size() > 2)
      writer.write(track_list, plan.track_names[used++],
                   track_event_lists(lineup, track, plan.record, plan.facts_of));
  return writer.take();
}

std::vector<fs::path> edit_files_in(const fs::path& folder, const std::string& name,
                                    const std::vector<std::string>& track_names) {
  std::vector<fs::path> files;
  for (const fs::path& file :
       {fs::path(kCuts), fs::path(name + ".adl"), fs::path(name + "-stems.adl")})
    add_if_there(files, folder, file);
  add_lists(files, folder, session_list, name);
  add_lists(files, folder, stem_list, name);
  for (const std::string& track : track_names) add_lists(files, folder, track_list, track);
  return files;
}

}  // namespace kilter::edits
