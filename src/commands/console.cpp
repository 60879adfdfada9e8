#include "console.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <string_view>

#include "kilter/report/text_table.h"

namespace kilter::commands {
namespace {

/// "cannot be opened (...)" follows the file's name; "the file is empty" follows a colon.
bool continues_name(std::string_view what) {
  constexpr std::array<std::string_view, 5> kStarts{"cannot ", "is ", "lies ", "holds ", "has "};
  return std::any_of(kStarts.begin(), kStarts.end(),
                     [&](std::string_view start) { return what.starts_with(start); });
}

std::string sentence(const Error& error) {
  if (error.file.empty()) return error.what;
  const std::string name = '"' + error.file.string() + '"';
  if (continues_name(error.what)) return name + ' ' + error.what;
  if (error.kind == ErrorKind::unreadable) return "cannot read " + name + ": " + error.what;
  if (error.kind == ErrorKind::cannot_write) return "cannot write " + name + ": " + error.what;
  return name + ": " + error.what;
}

}  // namespace

double steady_seconds() {
  return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

std::string message_text(const std::string& what, const std::string& next_step) {
  std::string text = "kilter: " + report::printable(what) + '\n';
  if (!next_step.empty()) text += "  next: " + report::printable(next_step) + '\n';
  return text;
}

std::string error_text(const Error& error) {
  return message_text(sentence(error), error.next_step);
}

Exit exit_for(const Error& error) {
  switch (error.kind) {
    case ErrorKind::bad_command:
      return Exit::bad_command;
    case ErrorKind::no_input:
    case ErrorKind::unreadable:
      return Exit::no_input;
    case ErrorKind::cannot_write:
      return Exit::cannot_write;
    case ErrorKind::interrupted:
      return Exit::interrupted;
    case ErrorKind::bug:
      return Exit::bug;
  }
  return Exit::bug;
}

int Console::columns() const { return std::max(report::kTerminalColumns, width_.out); }

void Console::progress(const std::string& stage, double done) {
  if (!show_progress_) return;
  const double share = std::clamp(done, 0.0, 1.0);
  show(fmt::format("{} {:.0f} %{}", stage, 100.0 * share, time_left(stage, share)));
}

void Console::show(const std::string& wanted) {
  if (!show_progress_) return;
  // A line that the terminal breaks in two could not be rewritten.
  const std::string line = report::cut_middle(wanted, std::max(10, width_.err - 1));
  if (line == shown_) return;
  const std::size_t left_over = shown_.size() - std::min(shown_.size(), line.size());
  err_ << '\r' << line << std::string(left_over, ' ') << std::flush;
  shown_ = line;
}

/// As the stage has gone so far; nothing while that tells little. Coarse, for it is a guess, and a
/// line that changes all the time is hard to look at.
std::string Console::time_left(const std::string& stage, double done) {
  constexpr double kTells_s = 3.0;
  constexpr double kTells = 0.02;
  const double now_s = clock_();
  if (stage != stage_) {
    stage_ = stage;
    stage_from_s_ = now_s;
    stage_from_ = done;
  }
  const double elapsed_s = now_s - stage_from_s_;
  const double gained = done - stage_from_;
  if (elapsed_s < kTells_s || gained < kTells || done >= 1.0) return "";
  const double left_s = elapsed_s * (1.0 - done) / gained;
  if (left_s > 90.0) return fmt::format(", about {:.0f} min left", std::ceil(left_s / 60.0));
  return fmt::format(", about {:.0f} s left", 5.0 * std::ceil(left_s / 5.0));
}

void Console::end_progress() {
  if (shown_.empty()) return;
  err_ << '\r' << std::string(shown_.size(), ' ') << '\r' << std::flush;
  shown_.clear();
}

Result<void> Console::print(const std::string& text) {
  end_progress();
  out_ << text << std::flush;
  if (!out_)
    return Error{ErrorKind::cannot_write,
                 {},
                 "the results cannot be written to standard output",
                 "check where it leads, and the room there"};
  return {};
}

void Console::report(const Error& error) { tell(error_text(error)); }

void Console::warn(const std::string& what, const std::string& next_step) {
  tell(message_text(what, next_step));
}

void Console::tell(const std::string& text) {
  if (!told_.insert(text).second) return;
  end_progress();
  err_ << text << std::flush;
}

}  // namespace kilter::commands
