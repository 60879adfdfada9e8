#include "console.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
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

void Console::progress(const std::string& stage, double done) {
  if (!show_progress_) return;
  const std::string line = fmt::format("{} {:.0f} %", stage, 100.0 * std::clamp(done, 0.0, 1.0));
  if (line == shown_) return;
  const std::size_t left_over = shown_.size() - std::min(shown_.size(), line.size());
  err_ << '\r' << line << std::string(left_over, ' ') << std::flush;
  shown_ = line;
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
