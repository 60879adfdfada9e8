#include "batch_job.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <ctime>
#include <nlohmann/json.hpp>
#include <sstream>

#include "batch_inputs.h"
#include "commands.h"
#include "kilter/base/utf8.h"
#include "kilter/edits/lineup_file.h"
#include "shell_words.h"

namespace kilter::commands {
namespace {

namespace fs = std::filesystem;

std::string setting_text(const Setting& setting) {
  return setting.name + (setting.value.empty() ? "" : ' ' + setting.value);
}

/// The command that would do the same to this session alone.
std::string line_for(const Options& batch, const ArchivedSession& session) {
  std::string line = "kilter conform " + shell_word(session.folder.string());
  for (const Setting& setting : batch.settings)
    line += ' ' + setting.name + (setting.value.empty() ? "" : ' ' + shell_word(setting.value));
  return line;
}

Options options_for(const Options& batch, const ArchivedSession& session, int threads) {
  Options options = batch;
  options.session = {session.folder};
  options.junit.reset();
  options.threads = threads;
  options.json = true;
  switch (batch.batch.mode) {
    case BatchMode::conform:
      options.command = Command::conform;
      options.out = result_path(batch, session);
      options.replace = true;
      options.line = line_for(batch, session);
      break;
    case BatchMode::align:
      options.command = Command::align;
      options.lineup = result_path(batch, session);
      break;
    case BatchMode::check:
      options.command = Command::check;
      options.session = {result_path(batch, session)};
      options.mix.reset();
      break;
  }
  return options;
}

Result<Exit> run_one(const Options& options, Console& console) {
  if (options.command == Command::conform) return conform_command(options, console);
  if (options.command == Command::check) return check_command(options, console);
  std::error_code code;
  fs::create_directories(options.lineup->parent_path(), code);  // if not, writing there tells why
  return align_command(options, console);
}

void tell_lineup(const Lineup& lineup, BatchRecord& record) {
  const auto count = [&](const std::vector<Finding>& findings) {
    for (const Finding& finding : findings) ++record.findings[finding.code];
  };
  for (const Standing standing : {Standing::firm, Standing::shaky, Standing::unplaced})
    record.standings[to_text(standing)] = 0;
  count(lineup.findings);
  if (lineup.mix) count(lineup.mix->findings);
  for (const LineupTrack& track : lineup.tracks) {
    count(track.findings);
    if (track.role == Role::ignore || track.role == Role::mix) continue;
    ++record.standings[to_text(track.standing)];
    if (track.map)
      record.worst_uncertainty_us =
          std::max(record.worst_uncertainty_us.value_or(0.0), track.uncertainty_us);
  }
}

/// `text`: what check told, as JSON.
void tell_check(const std::string& text, BatchRecord& record) {
  const auto check = nlohmann::json::parse(text, nullptr, false);
  if (!check.is_object()) return;
  const auto count = [&](const nlohmann::json& findings) {
    for (const auto& finding : findings) ++record.findings[finding.value("code", "")];
  };
  count(check.value("findings", nlohmann::json::array()));
  for (const auto& stem : check.value("stems", nlohmann::json::array())) {
    ++record.standings[stem.value("verdict", "")];
    count(stem.value("findings", nlohmann::json::array()));
    if (stem.contains("uncertainty_us"))
      record.worst_uncertainty_us = std::max(record.worst_uncertainty_us.value_or(0.0),
                                             stem.at("uncertainty_us").get<double>());
  }
}

/// As on standard error, without our name and indents.
std::vector<std::string> lines_of(const std::string& told) {
  constexpr std::string_view kOurs = "kilter: ";
  std::vector<std::string> lines;
  std::istringstream stream(told);
  for (std::string line; std::getline(stream, line);) {
    if (line.starts_with(kOurs)) line.erase(0, kOurs.size());
    line.erase(0, line.find_first_not_of(' '));
    lines.push_back(line);
  }
  return lines;
}

}  // namespace

fs::path result_path(const Options& batch, const ArchivedSession& session) {
  fs::path path = batch.out / session.result;
  if (batch.batch.mode == BatchMode::align) path += ".lineup.json";
  return path;
}

fs::path inputs_folder(const Options& batch, const ArchivedSession& session) {
  return batch.batch.mode == BatchMode::check ? result_path(batch, session) : session.folder;
}

Result<std::vector<InputMark>> inputs_of(const Options& batch, const ArchivedSession& session) {
  return batch.batch.mode == BatchMode::check ? inputs_of_result(result_path(batch, session))
                                              : inputs_of_session(session.folder, batch.mix);
}

fs::path sound_folder(const Options& batch, const ArchivedSession& session) {
  return batch.batch.mode == BatchMode::check ? result_path(batch, session) / "stems"
                                              : session.folder;
}

std::string record_time() {
  const auto now = std::chrono::system_clock::now().time_since_epoch();
  const auto micros = std::chrono::duration_cast<std::chrono::microseconds>(now).count();
  const std::time_t seconds = static_cast<std::time_t>(micros / 1000000);
  std::tm utc{};
  ::gmtime_r(&seconds, &utc);
  return fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}.{:06}Z", utc.tm_year + 1900,
                     utc.tm_mon + 1, utc.tm_mday, utc.tm_hour, utc.tm_min, utc.tm_sec,
                     micros % 1000000);
}

BatchRecord started_record(const Options& batch, const ArchivedSession& session, int threads) {
  BatchRecord record;
  record.name = as_utf8(session.name);
  record.folder = as_utf8(session.result.generic_string());
  std::error_code code;
  const fs::path archive = fs::absolute(batch.session.front(), code);
  record.archive = as_utf8(fs::weakly_canonical(archive, code).generic_string());
  record.threads = threads;
  record.program = KILTER_VERSION;
  for (const Setting& setting : batch.settings) record.options.push_back(setting_text(setting));
  return record;
}

BatchRecord do_session(const Options& batch, const ArchivedSession& session, int threads,
                       const std::atomic<bool>& stop) {
  BatchRecord record = started_record(batch, session, threads);
  std::ostringstream out;
  std::ostringstream err;
  const double from_s = steady_seconds();
  try {
    const Options options = options_for(batch, session, threads);
    Console console(out, err, false, stop);
    // As they are before the work: what changes during it is seen to have changed.
    if (auto inputs = inputs_of(batch, session)) {
      const auto read = add_digests(inputs_folder(batch, session), *inputs, stop);
      if (read) record.inputs = *std::move(inputs);
    }
    record.sound_s = sound_size(sound_folder(batch, session), batch).sound_s;
    const auto exit = run_one(options, console);
    if (!exit) console.report(exit.error());
    record.exit = static_cast<int>(exit ? *exit : exit_for(exit.error()));
    const fs::path lineup = batch.batch.mode == BatchMode::align
                                ? result_path(batch, session)
                                : result_path(batch, session) / "lineup.json";
    if (record.is_finished() && batch.batch.mode == BatchMode::check)
      tell_check(out.str(), record);
    else if (record.is_finished())
      if (const auto written = edits::read_lineup(lineup)) tell_lineup(*written, record);
  } catch (...) {
    record.exit = tell_exception(err);
  }
  record.messages = lines_of(err.str());
  record.seconds = steady_seconds() - from_s;
  record.ended = record_time();
  return record;
}

}  // namespace kilter::commands
