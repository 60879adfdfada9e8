#include "batch_plan.h"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <set>
#include <system_error>

#include "batch_inputs.h"
#include "batch_job.h"
#include "kilter/base/clock_text.h"
#include "kilter/base/utf8.h"
#include "kilter/report/text_table.h"

namespace kilter::commands {
namespace {

namespace fs = std::filesystem;

/// Whether what the record tells of is there, whole.
bool has_result(const Options& options, const ArchivedSession& session) {
  std::error_code code;
  const fs::path result = result_path(options, session);
  if (options.batch.mode == BatchMode::align) return fs::is_regular_file(result, code);
  // What a killed process left in it the next run clears away.
  for (const char* unfinished : {".conform.part", ".earlier.part"})
    if (fs::exists(result / unfinished, code)) return false;
  return fs::is_regular_file(result / "lineup.json", code);
}

/// Why the session is to be done though there is a record; empty where it is not.
Result<std::string> why_again(const Options& options, const ArchivedSession& session,
                              const BatchRecord& record,
                              const Result<std::vector<InputMark>>& inputs,
                              std::optional<bool> known_unchanged, Console& console) {
  const BatchRecord now = started_record(options, session, 1);
  if (options.batch.again) return std::string("again");
  if (!record.is_finished()) return std::string("failed before");
  if (!inputs) return std::string("changed");
  if (record.program != now.program) return std::string("other version");
  if (record.options != now.options) return std::string("other options");
  if (record.folder != now.folder || !has_result(options, session))
    return std::string("result gone");
  if (known_unchanged) return std::string(*known_unchanged ? "" : "changed");
  const auto unchanged =
      are_unchanged(inputs_folder(options, session), record.inputs, *inputs, console.stop());
  if (!unchanged) return unchanged.error();
  return std::string(*unchanged ? "" : "changed");
}

/// Results in `options.out` that were made for another archive's sessions of the same names. An
/// archive that was moved or copied is no other: some of its sessions are as they were.
class OtherArchives {
 public:
  explicit OtherArchives(const Options& options) : options_(options) {}

  /// `unchanged`: whether the session's files are those of the record.
  void look_at(const ArchivedSession& session, const BatchRecord& record, bool unchanged) {
    if (unchanged)
      moved_.insert(record.archive);
    else if (record.is_finished() && has_result(options_, session))
      at_stake_.push_back(&record);
  }

  /// Why nothing may be done, if so.
  std::optional<Error> refusal() const {
    for (const BatchRecord* record : at_stake_)
      if (!moved_.contains(record->archive))
        return Error{ErrorKind::bad_command, options_.out,
                     "holds the result of session \"" + record->name + "\" of another archive, \"" +
                         record->archive + '"',
                     "name another folder, or add --replace to give that result up"};
    return std::nullopt;
  }

 private:
  const Options& options_;
  std::set<std::string> moved_;
  std::vector<const BatchRecord*> at_stake_;
};

/// What is to be done takes, all together.
struct Need {
  std::size_t sessions{0};
  double sound_s{0.0};
  double stems_bytes{0.0};
  double scratch_bytes{0.0};  ///< at a time
  double seconds{0.0};
  std::size_t known{0};  ///< sessions that tell how long it takes
};

/// Thread-seconds for a second of one channel, as long as no session tells it: six tracks of ten
/// minutes on a machine with two cores that were busy with other things, too.
double usual_cost(BatchMode mode) {
  switch (mode) {
    case BatchMode::conform:
      return 0.0034;
    case BatchMode::align:
      return 0.0021;
    case BatchMode::check:
      return 0.001;
  }
  return 0.0034;
}

std::vector<SoundSize> sizes_of(const Options& options, const std::vector<PlannedSession>& plan) {
  std::vector<SoundSize> sizes;
  for (const PlannedSession& each : plan) {
    SoundSize size;
    if (!each.why.empty()) size = sound_size(sound_folder(options, each.session), options);
    if (options.batch.mode != BatchMode::conform) size.stems_bytes = 0.0;
    sizes.push_back(size);
  }
  return sizes;
}

Need need_of(const Options& options, const std::vector<PlannedSession>& plan,
             const std::vector<SoundSize>& sizes, const BatchRecords& records) {
  Need need;
  std::vector<double> scratch;
  for (std::size_t i = 0; i < plan.size(); ++i) {
    if (plan[i].why.empty()) continue;
    ++need.sessions;
    need.sound_s += sizes[i].sound_s;
    need.stems_bytes += sizes[i].stems_bytes;
    scratch.push_back(sizes[i].scratch_bytes);
  }
  std::sort(scratch.rbegin(), scratch.rend());
  for (int i = 0; i < options.batch.jobs && static_cast<std::size_t>(i) < scratch.size(); ++i)
    need.scratch_bytes += scratch[static_cast<std::size_t>(i)];
  double spent = 0.0;
  double sound_s = 0.0;
  for (const auto& [name, record] : records) {
    if (!record.is_finished() || record.sound_s <= 0.0) continue;
    ++need.known;
    spent += record.seconds * record.threads;
    sound_s += record.sound_s;
  }
  const double cost = sound_s > 0.0 ? spent / sound_s : usual_cost(options.batch.mode);
  need.seconds = need.sound_s * cost / options.threads;
  return need;
}

std::string bytes_text(double bytes) {
  return bytes >= 1e9 ? fmt::format("{:.1f} GB", 1e-9 * bytes)
                      : fmt::format("{:.1f} MB", 1e-6 * bytes);
}

std::optional<double> room_at(const fs::path& out) {
  std::error_code code;
  fs::path there = fs::absolute(out, code);
  while (!fs::exists(there, code) && there.has_relative_path()) there = there.parent_path();
  const auto space = fs::space(there, code);
  if (code) return std::nullopt;
  return static_cast<double>(space.available);
}

std::string need_text(const Options& options, const Need& need) {
  std::string text;
  if (options.batch.mode == BatchMode::conform) {
    text = "Room   about " + bytes_text(need.stems_bytes) + " for stems";
    if (const auto room = room_at(options.out))
      text += ", of " + bytes_text(*room) + " that are free" +
              (*room < need.stems_bytes ? ": too little" : "");
    text += '\n';
  }
  text += "       about " + bytes_text(need.scratch_bytes) + " at a time in TMPDIR\n";
  text += fmt::format("Time   about {} with {} thread{}, ", clock_text(need.seconds, 0),
                      options.threads, options.threads == 1 ? "" : "s");
  if (need.known > 0)
    return text +
           fmt::format("by the {} session{} done so far\n", need.known, need.known == 1 ? "" : "s");
  return text + "a guess, for no session is done yet\n";
}

}  // namespace

Result<std::vector<PlannedSession>> plan_of(const Options& options,
                                            const std::vector<ArchivedSession>& sessions,
                                            const BatchRecords& records, Console& console) {
  std::vector<PlannedSession> plan;
  OtherArchives others(options);
  const bool may_be_others = !options.replace && options.batch.mode != BatchMode::check;
  for (const ArchivedSession& session : sessions) {
    if (console.stop().load()) return Error{ErrorKind::interrupted, {}, "interrupted", ""};
    PlannedSession& planned = plan.emplace_back(PlannedSession{session, "new", 1.0});
    const auto inputs = inputs_of(options, session);
    if (inputs)
      for (const InputMark& input : *inputs) planned.bytes += static_cast<double>(input.bytes);
    const auto record = records.find(as_utf8(session.name));
    if (record == records.end()) continue;
    const bool is_others = may_be_others && !record->second.archive.empty() &&
                           record->second.archive != started_record(options, session, 1).archive;
    std::optional<bool> unchanged;
    if (is_others && inputs) {
      const auto compared = are_unchanged(inputs_folder(options, session), record->second.inputs,
                                          *inputs, console.stop());
      if (!compared) return compared.error();
      unchanged = *compared;
    }
    if (is_others) others.look_at(session, record->second, unchanged.value_or(false));
    auto why = why_again(options, session, record->second, inputs, unchanged, console);
    if (!why) return why.error();
    planned.why = *std::move(why);
  }
  if (auto refused = others.refusal()) return *std::move(refused);
  return plan;
}

std::string plan_text(const Options& options, const std::vector<PlannedSession>& plan,
                      const BatchRecords& records, int columns) {
  const auto sizes = sizes_of(options, plan);
  const Need need = need_of(options, plan, sizes, records);
  std::vector<std::vector<std::string>> rows;
  for (std::size_t i = 0; i < plan.size(); ++i)
    if (!plan[i].why.empty())
      rows.push_back({plan[i].session.name, plan[i].why, clock_text(sizes[i].sound_s, 0),
                      bytes_text(sizes[i].stems_bytes),
                      result_path(options, plan[i].session).generic_string()});
  std::string text = fmt::format("{} of {} sessions to do, {} done already.\n", need.sessions,
                                 plan.size(), plan.size() - need.sessions);
  if (rows.empty()) return text;
  return text + '\n' +
         report::text_table({{"session", "", false, report::TooWide::cut},
                             {"why", ""},
                             {"sound", "hh:mm:ss", true},
                             {"stems", "", true},
                             {"goes to", "", false, report::TooWide::cut}},
                            rows, columns) +
         '\n' + need_text(options, need);
}

std::string plan_json(const Options& options, const std::vector<PlannedSession>& plan,
                      const BatchRecords& records) {
  using Json = nlohmann::ordered_json;
  const auto sizes = sizes_of(options, plan);
  const Need need = need_of(options, plan, sizes, records);
  Json object{{"kind", "kilter batch plan"},
              {"version", 1},
              {"sessions", Json::array()},
              {"done", plan.size() - need.sessions},
              {"sound_s", need.sound_s},
              {"stems_bytes", need.stems_bytes},
              {"scratch_bytes", need.scratch_bytes},
              {"seconds", need.seconds},
              {"sessions_measured", need.known}};
  for (std::size_t i = 0; i < plan.size(); ++i)
    if (!plan[i].why.empty())
      object["sessions"].push_back({{"name", plan[i].session.name},
                                    {"folder", plan[i].session.result.generic_string()},
                                    {"why", plan[i].why},
                                    {"sound_s", sizes[i].sound_s},
                                    {"stems_bytes", sizes[i].stems_bytes}});
  return with_controls_escaped(object.dump(2, ' ', false, Json::error_handler_t::replace)) + '\n';
}

}  // namespace kilter::commands
