// What a command talks to: its results, its messages, its progress, and a wish to stop.
#pragma once

#include <atomic>
#include <functional>
#include <ostream>
#include <set>
#include <string>
#include <utility>

#include "kilter/base/result.h"
#include "kilter/commands/run.h"

namespace kilter::commands {

/// `kilter: cannot read "guest-2.wav": not a format we know`, and what to do next below it.
std::string error_text(const Error& error);
std::string message_text(const std::string& what, const std::string& next_step);
Exit exit_for(const Error& error);

/// Seconds since some moment.
using Clock = std::function<double()>;
double steady_seconds();

class Console {
 public:
  Console(std::ostream& out, std::ostream& err, bool show_progress, const std::atomic<bool>& stop,
          Clock clock = steady_seconds, const Width& width = {})
      : out_(out),
        err_(err),
        show_progress_(show_progress),
        stop_(stop),
        clock_(std::move(clock)),
        width_(width) {}

  const std::atomic<bool>& stop() const { return stop_; }

  /// How wide a table may be: what the terminal shows, and no less than 80 cells.
  int columns() const;

  /// One line, rewritten in place: "measuring 43 %, about 20 s left", the time from the third
  /// second of a stage on. Callable from any thread, but only one at a time; costs nothing when not
  /// shown.
  void progress(const std::string& stage, double done);
  /// One line of any words, rewritten in place, as progress() has it.
  void show(const std::string& line);
  /// Results. Removes the progress line. Fails (cannot_write) when they cannot be delivered.
  Result<void> print(const std::string& text);
  /// An error; the work may go on without the file that it names.
  void report(const Error& error);
  /// What a person should know though nothing failed. Texts as in an Error. Neither this nor an
  /// error is told twice, however often its file is read.
  void warn(const std::string& what, const std::string& next_step);
  void end_progress();

 private:
  void tell(const std::string& text);
  std::string time_left(const std::string& stage, double done);

  std::ostream& out_;
  std::ostream& err_;
  bool show_progress_;
  const std::atomic<bool>& stop_;
  Clock clock_;
  Width width_;
  std::string stage_;
  double stage_from_s_{0.0};
  double stage_from_{0.0};  // how much was done then
  std::string shown_;
  std::set<std::string> told_;
};

}  // namespace kilter::commands
