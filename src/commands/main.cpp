#include <fcntl.h>
#include <sys/ioctl.h>
#include <sys/resource.h>
#include <unistd.h>

#include <atomic>
#include <csignal>
#include <iostream>
#include <string>
#include <vector>

#include "kilter/commands/run.h"

namespace {

std::atomic<bool> stop{false};
static_assert(std::atomic<bool>::is_always_lock_free, "a signal handler may set nothing else");

void request_stop(int) { stop.store(true); }

/// Where a standard stream is closed, the next file that is opened would take its place, and what
/// is told would be written into it. So something else takes it, to which writing fails.
void hold_closed_streams() {
  for (const int stream : {STDIN_FILENO, STDOUT_FILENO, STDERR_FILENO})
    if (fcntl(stream, F_GETFD) < 0) static_cast<void>(open("/dev/null", O_RDONLY));
}

void catch_signals() {
  struct sigaction action {};
  action.sa_handler = request_stop;
  sigemptyset(&action.sa_mask);
  action.sa_flags = SA_RESTART;
  for (const int signal : {SIGINT, SIGTERM}) sigaction(signal, &action, nullptr);
  // Writing to a closed pipe then fails, which is told, and does not end us halfway.
  std::signal(SIGPIPE, SIG_IGN);
  std::signal(SIGXFSZ, SIG_IGN);  // likewise a file beyond the user's limit
  // Under nohup the end of the terminal is ignored, and stays so.
  struct sigaction at_hang_up {};
  if (sigaction(SIGHUP, nullptr, &at_hang_up) == 0 && at_hang_up.sa_handler != SIG_IGN)
    sigaction(SIGHUP, &action, nullptr);
}

/// Every channel keeps a scratch file open; some systems allow only 256 files at first.
void allow_many_files() {
  constexpr rlim_t kWanted = 4096;
  rlimit limit{};
  if (getrlimit(RLIMIT_NOFILE, &limit) != 0 || limit.rlim_cur >= kWanted) return;
  limit.rlim_cur =
      limit.rlim_max == RLIM_INFINITY || limit.rlim_max > kWanted ? kWanted : limit.rlim_max;
  setrlimit(RLIMIT_NOFILE, &limit);
}

/// Cells in a line of the terminal behind `stream`; 80 where there is none, so that what a script
/// reads does not depend on a window.
int columns_of(int stream) {
  constexpr int kUsual = 80;
  winsize size{};
  const bool is_known = isatty(stream) != 0 && ioctl(stream, TIOCGWINSZ, &size) == 0;
  return is_known && size.ws_col > 0 ? size.ws_col : kUsual;
}

}  // namespace

int main(int argc, char** argv) {
  try {
    hold_closed_streams();
    catch_signals();
    allow_many_files();
    const std::vector<std::string> args(argv + (argc > 0 ? 1 : 0), argv + argc);
    return kilter::commands::run(args, std::cout, std::cerr, isatty(STDERR_FILENO) != 0, stop,
                                 {columns_of(STDOUT_FILENO), columns_of(STDERR_FILENO)});
  } catch (...) {
    return kilter::commands::tell_exception(std::cerr);
  }
}
