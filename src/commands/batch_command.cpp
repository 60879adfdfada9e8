#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <csignal>
#include <cstring>
#include <nlohmann/json.hpp>
#include <set>
#include <utility>

#include "archive.h"
#include "batch_job.h"
#include "batch_log.h"
#include "batch_plan.h"
#include "batch_report.h"
#include "batch_workers.h"
#include "commands.h"
#include "kilter/base/utf8.h"
#include "kilter/edits/text_file.h"
#include "kilter/report/text_table.h"
#include "kilter/session/session.h"
#include "outputs.h"

namespace kilter::commands {
namespace {

namespace fs = std::filesystem;

Error interrupted() { return {ErrorKind::interrupted, {}, "interrupted", ""}; }

/// Why results may not go into `out`, if so: it holds something, and no batch.
std::optional<Error> refusal_of(const Options& options) {
  std::error_code code;
  const bool exists = fs::exists(options.out, code);
  if (options.batch.mode == BatchMode::check && !exists)
    return Error{ErrorKind::no_input, options.out, "there is no such folder",
                 "name the folder that a batch wrote"};
  if (!exists || options.replace || options.batch.mode == BatchMode::check) return std::nullopt;
  if (!fs::is_directory(options.out, code))
    return Error{ErrorKind::cannot_write, options.out, "is no folder", "choose another name"};
  for (const BatchMode mode : {BatchMode::conform, BatchMode::align, BatchMode::check})
    if (!batch_logs_in(options.out, mode).empty()) return std::nullopt;
  for (fs::directory_iterator entry(options.out, code), end; !code && entry != end;
       entry.increment(code))
    if (entry->path().filename().native().front() != '.')
      return Error{ErrorKind::bad_command, options.out, "holds files, and no earlier batch",
                   "name another folder, or add --replace"};
  return std::nullopt;
}

/// The session's process did not come to an end of its own.
BatchRecord crashed_record(const Options& options, const ArchivedSession& session, int threads,
                           int signal, double seconds) {
  BatchRecord record = started_record(options, session, threads);
  constexpr int kBySignal = 128;  // as shells tell it
  record.exit = signal == 0 ? static_cast<int>(Exit::bug) : kBySignal + signal;
  record.seconds = seconds;
  record.ended = record_time();
  if (signal == SIGKILL)
    record.messages = {"its process was killed, perhaps because memory ran out",
                       "next: try again with fewer --jobs"};
  else if (signal != 0)
    record.messages = {fmt::format("a bug of ours: its process ended by signal {}", signal),
                       "next: report it, with the output of kilter --version"};
  else
    record.messages = {"a bug of ours: its process told no result",
                       "next: report it, with the output of kilter --version"};
  return record;
}

/// Does what is planned, some sessions side by side.
class Runner {
 public:
  Runner(const Options& options, const std::vector<PlannedSession>& plan, BatchLog& log,
         BatchRecords& records, Console& console)
      : options_(options),
        log_(log),
        records_(records),
        console_(console),
        workers_(console.stop()),
        began_s_(steady_seconds()) {
    for (const PlannedSession& planned : plan)
      if (!planned.why.empty()) {
        todo_.push_back({&planned, 0, 0.0});
        bytes_ += planned.bytes;
      }
    // So that in the end no long one goes on alone.
    std::stable_sort(todo_.begin(), todo_.end(), [](const Job& a, const Job& b) {
      return a.planned->bytes > b.planned->bytes;
    });
    jobs_ = std::min(
        {options.batch.jobs, options.threads, std::max(1, static_cast<int>(todo_.size()))});
  }

  /// Fails where the log cannot be written, or the user stops.
  Result<void> run() {
    using namespace std::chrono_literals;
    std::optional<Error> failure;
    bool stopping = false;
    while ((!stopping && next_ < todo_.size()) || workers_.running() > 0) {
      if (!stopping && (failure || console_.stop().load())) {
        workers_.stop_all();
        stopping = true;
      }
      if (!stopping)
        if (auto started = start_some(); !started && !failure) failure = started.error();
      tell_progress();
      const auto ended = workers_.wait(200ms);
      if (!ended) continue;
      give_back(*ended);
      // Before the log's disk is waited for, so that no core stands idle meanwhile.
      if (!stopping && !console_.stop().load())
        if (auto started = start_some(); !started && !failure) failure = started.error();
      auto kept = keep(*ended, stopping || console_.stop().load());
      if (!kept && !failure) failure = kept.error();
    }
    console_.end_progress();
    if (failure) return *failure;
    if (console_.stop().load()) return interrupted();
    return {};
  }

 private:
  struct Job {
    const PlannedSession* planned;
    int threads;
    double from_s;
  };

  /// Fails where the log cannot be written.
  Result<void> start_some() {
    while (next_ < todo_.size() && static_cast<int>(workers_.running()) < jobs_) {
      Job& job = todo_[next_];
      const auto waiting = static_cast<int>(todo_.size() - next_);
      const int places = jobs_ - static_cast<int>(workers_.running());
      job.threads = std::max(1, (options_.threads - threads_used_) / std::min(places, waiting));
      job.from_s = steady_seconds();
      const auto started = workers_.start(next_, [&](const std::atomic<bool>& stop) {
        return to_line(do_session(options_, job.planned->session, job.threads, stop));
      });
      if (!started && workers_.running() > 0) return {};  // when one of them has ended
      ++next_;
      if (!started) {
        BatchRecord record = started_record(options_, job.planned->session, job.threads);
        record.exit = static_cast<int>(Exit::bug);
        record.messages = {started.error().what, "next: " + started.error().next_step};
        record.ended = record_time();
        return keep(std::move(record), job.planned->bytes);
      }
      threads_used_ += job.threads;
      at_work_.insert(job.planned->session.name);
    }
    return {};
  }

  void give_back(const BatchWorkers::Ended& ended) {
    const Job& job = todo_[ended.id];
    threads_used_ -= job.threads;
    at_work_.erase(job.planned->session.name);
  }

  Result<void> keep(const BatchWorkers::Ended& ended, bool stopping) {
    const Job& job = todo_[ended.id];
    const ArchivedSession& session = job.planned->session;
    auto record = ended.failed ? std::nullopt : record_from_line(ended.text);
    if (stopping && (!record || record->exit == static_cast<int>(Exit::interrupted))) return {};
    if (!record)
      record = crashed_record(options_, session, job.threads, ended.signal,
                              steady_seconds() - job.from_s);
    return keep(*std::move(record), job.planned->bytes);
  }

  Result<void> keep(BatchRecord record, double bytes) {
    if (auto appended = log_.append(record); !appended) return appended;
    ++done_;
    if (record.is_finished()) {
      bytes_done_ += bytes;
    } else {
      bytes_ -= bytes;  // it took no time that tells anything
      const std::string next =
          record.messages.empty() || !record.messages.back().starts_with("next: ")
              ? ""
              : record.messages.back().substr(std::strlen("next: "));
      console_.warn("session \"" + record.name + "\" failed: " + outcome_note({.record = record}),
                    next);
    }
    std::string name = record.name;
    records_[std::move(name)] = std::move(record);
    return {};
  }

  void tell_progress() {
    std::string names;
    for (const std::string& name : at_work_) names += (names.empty() ? "" : ", ") + name;
    console_.show(fmt::format("{} of {} sessions{}; {}", done_, todo_.size(), time_left(),
                              report::printable(names)));
  }

  /// By the size of what is done; nothing while that tells little.
  std::string time_left() const {
    constexpr double kTells = 0.02;
    if (bytes_done_ <= kTells * bytes_ || bytes_done_ >= 0.999 * bytes_) return "";
    const double took_s = steady_seconds() - began_s_;
    const double left_s = took_s * (bytes_ - bytes_done_) / bytes_done_;
    return fmt::format(", {:.0f} %, about {:.0f} min left", 100.0 * bytes_done_ / bytes_,
                       std::ceil(left_s / 60.0));
  }

  const Options& options_;
  BatchLog& log_;
  BatchRecords& records_;
  Console& console_;
  BatchWorkers workers_;
  double began_s_;
  std::vector<Job> todo_;
  std::size_t next_{0};
  int jobs_{1};
  int threads_used_{0};
  std::set<std::string> at_work_;
  std::size_t done_{0};
  double bytes_{0.0};
  double bytes_done_{0.0};
};

/// Sessions' folders are only read.
std::optional<Error> refusal_by(const Archive& archive, const Options& options) {
  for (const ArchivedSession& archived : archive.sessions) {
    session::Session session;
    session.folder = archived.folder;
    session.given_as_folder = true;
    if (auto refused = output_refusal(options.out, session)) return refused;
    if (options.junit)
      if (auto refused = junit_refusal(*options.junit, session)) return refused;
  }
  return std::nullopt;
}

/// The archive's sessions, or the part of them that --only names.
Result<Archive> sessions_of(const Options& options, Console& console) {
  std::optional<fs::path> except;
  if (!options.out.empty()) except = options.out;
  auto archive = find_sessions(options.session.front(), except);
  if (!archive) return archive;
  for (const PassedOver& each : archive->passed_over)
    // Many machines need not all tell it.
    if (each.is_failure || !options.batch.only || options.batch.only->part == 1)
      console.warn('"' + each.name + "\" " + each.why,
                   each.is_failure ? "check your rights" : "move it if it belongs to a session");
  if (archive->sessions.empty())
    return Error{ErrorKind::no_input, options.session.front(), "holds no session folders",
                 "name a folder above folders with at least two audio files each"};
  if (!options.batch.list)
    if (auto refused = refusal_by(*archive, options)) return *std::move(refused);
  if (const auto& only = options.batch.only)
    std::erase_if(archive->sessions, [&](const ArchivedSession& session) {
      return part_of(session.name, only->parts) != only->part;
    });
  return archive;
}

std::string list_text(const Options& options, const Archive& archive) {
  std::string text;
  if (!options.json) {
    for (const ArchivedSession& session : archive.sessions)
      text += report::printable(session.name) + '\n';
    return text;
  }
  auto names = nlohmann::json::array();
  for (const ArchivedSession& session : archive.sessions) names.push_back(session.name);
  return with_controls_escaped(
             names.dump(2, ' ', false, nlohmann::json::error_handler_t::replace)) +
         '\n';
}

std::vector<BatchOutcome> outcomes_of(const Options& options, const Archive& archive,
                                      const std::vector<PlannedSession>& plan,
                                      const BatchRecords& records) {
  std::set<std::string> to_do;
  for (const PlannedSession& planned : plan)
    if (!planned.why.empty()) to_do.insert(planned.session.name);
  std::vector<BatchOutcome> outcomes;
  for (const ArchivedSession& session : archive.sessions) {
    BatchOutcome& outcome = outcomes.emplace_back();
    const auto record = records.find(as_utf8(session.name));
    outcome.is_missing = record == records.end();
    outcome.was_done = !outcome.is_missing && !options.batch.merge && !to_do.contains(session.name);
    outcome.record = outcome.is_missing ? started_record(options, session, 1) : record->second;
  }
  return outcomes;
}

Result<Exit> tell_outcomes(const Options& options, const Archive& archive,
                           const std::vector<BatchOutcome>& outcomes, Console& console) {
  if (options.junit) {
    const std::string name =
        fs::weakly_canonical(fs::absolute(options.session.front())).filename().string();
    if (auto written = edits::write_text(*options.junit, batch_junit(outcomes, name)); !written)
      return written.error();
  }
  const auto printed =
      console.print(options.json ? batch_json(outcomes)
                                 : batch_text(outcomes, options.batch.mode, console.columns()));
  if (!printed) return printed.error();
  const bool any = std::any_of(outcomes.begin(), outcomes.end(), needs_a_look) ||
                   std::any_of(archive.passed_over.begin(), archive.passed_over.end(),
                               [](const PassedOver& each) { return each.is_failure; });
  return any ? Exit::needs_person : Exit::done;
}

}  // namespace

Result<Exit> batch_command(const Options& options, Console& console) {
  const auto archive = sessions_of(options, console);
  if (!archive) return archive.error();
  if (options.batch.list) {
    const auto printed = console.print(list_text(options, *archive));
    if (!printed) return printed.error();
    return Exit::done;
  }
  if (options.batch.merge) {
    const auto records = records_in(options.out, options.batch.mode);
    if (!records) return records.error();
    return tell_outcomes(options, *archive, outcomes_of(options, *archive, {}, *records), console);
  }
  if (auto refused = refusal_of(options)) return *std::move(refused);
  std::optional<BatchLog> log;
  if (!options.batch.dry_run) {
    auto opened = BatchLog::open(options.out, options.batch.mode, options.batch.only);
    if (!opened) return opened.error();
    log.emplace(*std::move(opened));
  }
  auto records = records_in(options.out, options.batch.mode);
  if (!records) return records.error();
  const auto plan = plan_of(options, archive->sessions, *records, console);
  if (!plan) return plan.error();
  if (!log) {
    const auto printed =
        console.print(options.json ? plan_json(options, *plan, *records)
                                   : plan_text(options, *plan, *records, console.columns()));
    if (!printed) return printed.error();
    return Exit::done;
  }
  if (auto done = Runner(options, *plan, *log, *records, console).run(); !done) return done.error();
  if (auto settled = log->settle(); !settled) return settled.error();
  return tell_outcomes(options, *archive, outcomes_of(options, *archive, *plan, *records), console);
}

}  // namespace kilter::commands
