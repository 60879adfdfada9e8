#include "earlier_result.h"

#include <algorithm>
#include <array>
#include <string>
#include <string_view>
#include <system_error>
#include <utility>
#include <vector>

#include "kilter/base/file_input.h"
#include "kilter/base/name_key.h"
#include "kilter/base/system_words.h"
#include "kilter/base/text_hash.h"
#include "kilter/conform/conform.h"
#include "kilter/conform/listening_clips.h"
#include "kilter/edits/edit_files.h"
#include "kilter/edits/lineup_file.h"
#include "kilter/edits/text_file.h"
#include "kilter/media/audio_file.h"
#include "kilter/signal/sample_digest.h"
#include "stem.h"

namespace kilter::conform {
namespace {

namespace fs = std::filesystem;

constexpr const char* kPage = "report.html";
const fs::path kEdits = "edits";
const fs::path kClips = "listen";
const fs::path kStems = "stems";
constexpr const char* kNextStep = "move it elsewhere, or name another folder";

bool is_hidden(const fs::path& entry) { return entry.filename().native().front() == '.'; }

bool is_there(const fs::path& file) {
  std::error_code ignored;
  return fs::exists(fs::symlink_status(file, ignored));
}

/// Whether its folder has one file only that any file system could take for this one.
bool is_alone(const fs::path& file) {
  const auto key = name_key(file.filename().string());
  int alike = 0;
  std::error_code problem;
  fs::directory_iterator entry(file.parent_path(), problem);
  for (; !problem && entry != fs::directory_iterator(); entry.increment(problem))
    alike += static_cast<int>(name_key(entry->path().filename().string()) == key);
  return !problem && alike == 1;
}

Error changed(const fs::path& file) {
  if (file.filename() == fs::path(kCuts).filename())
    return {ErrorKind::bad_command, file, "it is no longer the table that was written there",
            "add --cuts and its path to follow it, or name another folder"};
  if (file.filename() == kLineup)
    return {ErrorKind::bad_command, file, "it was changed while the new result was made",
            "look at that result, or name another folder"};
  return {ErrorKind::bad_command, file, "it is no longer the stem that was written there",
          kNextStep};
}

/// Whether the page is one of ours, and no other file of that name. Fails where it cannot be read.
Result<bool> is_our_page(const fs::path& page) {
  constexpr std::string_view kSign = "<meta name=\"generator\" content=\"kilter ";
  std::error_code ignored;
  if (!fs::is_regular_file(page, ignored)) return false;
  FileInput input(page);
  std::array<char, 2048> start;  // NOLINT: filled before it is read
  const std::int64_t got = input.is_open() ? input.read_at(start, 0) : 0;
  if (input.problem() != 0)
    return Error{ErrorKind::unreadable, page,
                 "cannot be read (" + system_words(input.problem()) + ")", kNextStep};
  const std::string_view text(start.data(), static_cast<std::size_t>(got));
  return text.find(kSign) != std::string_view::npos;
}

/// The lineup of an earlier result; nothing where `dir` holds none.
Result<std::optional<Lineup>> lineup_in(const fs::path& dir) {
  std::error_code ignored;
  if (!fs::is_regular_file(dir / kLineup, ignored) || !fs::is_regular_file(dir / kCuts, ignored))
    return std::optional<Lineup>();
  const auto text = edits::read_text(dir / kLineup);
  if (!text) return text.error();
  auto lineup = edits::lineup_from_text(*text, dir / kLineup);
  return lineup ? std::optional(*std::move(lineup)) : std::nullopt;
}

/// As whoever wrote the file digested it.
Result<std::uint64_t> digest_of(const fs::path& file, const std::atomic<bool>* stop) {
  constexpr std::size_t kFrames = 16384;
  auto audio = media::open_audio(file);
  if (!audio) return audio.error();
  SampleDigest digest;
  std::vector<float> block(kFrames * static_cast<std::size_t>(audio->info.channels));
  for (;;) {
    if (stop != nullptr && stop->load())
      return Error{ErrorKind::interrupted, {}, "interrupted", "start again"};
    const auto got = audio->source->read(block);
    if (!got) return got.error();
    if (got->n == 0) return digest.value();
    digest.process(std::span(block).first(static_cast<std::size_t>(got->n * audio->info.channels)));
  }
}

/// Why the file may not be replaced, if so.
std::optional<Error> refusal_of(const fs::path& file, const StemMark& mark,
                                const std::atomic<bool>* stop) {
  std::error_code ignored;
  if (!fs::is_regular_file(file, ignored)) return changed(file);
  const auto digest = digest_of(file, stop);
  if (digest) return *digest == mark.digest ? std::nullopt : std::optional(changed(file));
  if (digest.error().kind != ErrorKind::unreadable) return digest.error();
  return Error{
      ErrorKind::unreadable, file,
      "nothing tells whether it is still the stem that was written there: " + digest.error().what,
      kNextStep};
}

/// Why the table of cuts may not be replaced, if so. An older version kept no hash of it.
std::optional<Error> refusal_of_cuts(const fs::path& file, const Lineup& lineup,
                                     const fs::path& taken_over) {
  std::error_code ignored;
  if (!lineup.cuts_hash || fs::equivalent(file, taken_over, ignored)) return std::nullopt;
  const auto text = edits::read_text(file);
  if (!text) return text.error();
  return text_hash(*text) == *lineup.cuts_hash ? std::nullopt : std::optional(changed(file));
}

/// The stems as the lineup tells them: with their digests, or, where an older version wrote it, by
/// their names alone. A name that leads elsewhere is passed over: anybody may have written it.
std::vector<StemMark> stems_of(const Lineup& lineup) {
  std::vector<StemMark> stems;
  for (const StemMark& mark : lineup.stems) {
    const fs::path file = mark.file;
    if (!file.empty() && file == file.filename() && file != "." && file != "..")
      stems.push_back(mark);
  }
  if (!lineup.stems.empty()) return stems;
  const StemFiles files = stem_files(lineup);
  for (const fs::path& file : files.tracks) stems.push_back({file.string(), 0});
  if (files.mix) stems.push_back({files.mix->string(), 0});
  return stems;
}

std::set<fs::path> lists_of(const Lineup& lineup, const fs::path& dir) {
  std::vector<std::string> track_names;
  for (const LineupTrack* track : tracks_with_stems(lineup)) track_names.push_back(track->name);
  std::set<fs::path> lists;
  const std::string name = safe_file_names({lineup.session}).front();
  for (const fs::path& list :
       edits::edit_files_in(dir / kEdits, name, safe_file_names(track_names)))
    lists.insert(kEdits / list);
  return lists;
}

}  // namespace

bool holds_something(const fs::path& dir, std::error_code& problem) {
  fs::directory_iterator entry(dir, problem);
  for (; !problem && entry != fs::directory_iterator(); entry.increment(problem))
    if (!is_hidden(entry->path())) return true;
  return false;
}

EarlierResult::Seen EarlierResult::look_at(const fs::path& file) {
  std::error_code ignored;
  return {fs::file_size(file, ignored), fs::last_write_time(file, ignored)};
}

Result<EarlierResult> EarlierResult::find(const fs::path& dir, const fs::path& taken_over,
                                          const Watch& watch) {
  std::error_code problem;
  EarlierResult result;
  result.dir_ = dir;
  if (!holds_something(dir, problem) && !problem) return result;
  if (problem)
    return Error{ErrorKind::cannot_write, dir, "cannot be read (" + problem.message() + ")",
                 "check your rights, or choose another folder"};
  const auto lineup = lineup_in(dir);
  if (!lineup) return lineup.error();
  if (!*lineup)
    return Error{ErrorKind::bad_command, dir, "it holds other files than an earlier result",
                 "name another folder: only an earlier result is replaced"};
  result.files_ = lists_of(**lineup, dir);
  result.files_.insert({kLineup, kCuts});
  for (const fs::path& clip : clip_files_in(dir / kClips)) result.files_.insert(kClips / clip);
  const auto page_is_ours = is_our_page(dir / kPage);
  if (!page_is_ours) return page_is_ours.error();
  if (*page_is_ours) result.files_.insert(kPage);
  for (const char* name : {kLineup, kCuts}) result.seen_.insert({name, look_at(dir / name)});
  if (auto error = refusal_of_cuts(dir / kCuts, **lineup, taken_over)) return *std::move(error);
  const auto stems = stems_of(**lineup);
  for (std::size_t i = 0; i < stems.size(); ++i) {
    if (watch.progress) watch.progress(static_cast<double>(i) / static_cast<double>(stems.size()));
    const fs::path name = kStems / stems[i].file;
    if (!is_there(dir / name)) continue;
    const Seen before = look_at(dir / name);
    if (stems[i].digest != 0)
      if (auto error = refusal_of(dir / name, stems[i], watch.stop)) return *std::move(error);
    result.files_.insert(name);
    result.seen_.insert({name, before});
  }
  return result;
}

bool EarlierResult::has(const fs::path& file) const {
  if (files_.contains(file)) return true;
  // Its number would tell whether it is the same file; not every file system gives it one.
  const auto key = name_key(file.filename().string());
  return is_alone(dir_ / file) && std::any_of(files_.begin(), files_.end(), [&](const auto& each) {
           return each.parent_path() == file.parent_path() &&
                  name_key(each.filename().string()) == key && is_there(dir_ / each);
         });
}

std::optional<Error> EarlierResult::change() const {
  for (const auto& [name, before] : seen_)
    if (is_there(dir_ / name) && look_at(dir_ / name) != before) return changed(dir_ / name);
  return std::nullopt;
}

}  // namespace kilter::conform
