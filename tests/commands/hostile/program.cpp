#include "program.h"

#include <fcntl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <csignal>
#include <cstdlib>
#include <fstream>
#include <thread>

#include "support/temporary_folder.h"

namespace kilter::test {
namespace {

namespace fs = std::filesystem;
using Clock = std::chrono::steady_clock;

constexpr unsigned kNobody = 65534;

/// In the new process: everything that is ours becomes the program's. Does not return.
[[noreturn]] void become_program(const std::vector<std::string>& args, const fs::path& where,
                                 bool as_nobody, const fs::path& out, const fs::path& err) {
  const rlimit no_core{0, 0};
  ::setrlimit(RLIMIT_CORE, &no_core);
  const int to_out = ::open(out.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
  const int to_err = ::open(err.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
  const int nothing = ::open("/dev/null", O_RDONLY);
  ::dup2(nothing, 0);
  ::dup2(to_out, 1);
  ::dup2(to_err, 2);
  ::setenv("TMPDIR", (where / "scratch").c_str(), 1);
  if (::chdir(where.c_str()) != 0) std::_Exit(127);
  if (as_nobody && ::geteuid() == 0 && (::setgid(kNobody) != 0 || ::setuid(kNobody) != 0))
    std::_Exit(127);
  std::vector<char*> argv{const_cast<char*>(KILTER_PROGRAM)};
  for (const std::string& arg : args) argv.push_back(const_cast<char*>(arg.c_str()));
  argv.push_back(nullptr);
  ::execv(argv.front(), argv.data());
  std::_Exit(127);
}

/// The most memory that a process has used so far, where the system tells it; else 0. What it tells
/// in the end counts what the process was before it became the program.
long peak_mb_of([[maybe_unused]] pid_t process) {
#ifdef __linux__
  std::ifstream status("/proc/" + std::to_string(process) + "/status");
  for (std::string line; std::getline(status, line);)
    if (line.starts_with("Name:") && line.find("kilter") == std::string::npos)
      return 0;  // it is not yet the program
    else if (line.starts_with("VmHWM:"))
      return std::stol(line.substr(6)) / 1000;
#endif
  return 0;
}

double seconds_since(Clock::time_point start) {
  return std::chrono::duration<double>(Clock::now() - start).count();
}

}  // namespace

ProgramRun run_program(const std::vector<std::string>& args, const fs::path& where, double most_s,
                       bool as_nobody) {
  constexpr auto kPause = std::chrono::milliseconds(5);
  const TemporaryFolder told;
  const auto start = Clock::now();
  const pid_t child = ::fork();
  if (child == 0) become_program(args, where, as_nobody, told / "out", told / "err");
  ProgramRun run;
  int status = 0;
  rusage used{};
  while (::wait4(child, &status, WNOHANG, &used) == 0) {
    if (!run.timed_out && seconds_since(start) > most_s) {
      run.timed_out = true;
      ::kill(child, SIGKILL);
    }
    run.peak_mb = std::max(run.peak_mb, peak_mb_of(child));
    std::this_thread::sleep_for(kPause);
  }
  run.seconds = seconds_since(start);
  if (WIFEXITED(status)) run.exit = WEXITSTATUS(status);
  if (WIFSIGNALED(status)) run.signal = WTERMSIG(status);
#ifdef __APPLE__
  const long in_the_end_mb = used.ru_maxrss / 1000000;
#else
  const long in_the_end_mb = used.ru_maxrss / 1000;
#endif
  if (run.peak_mb == 0) run.peak_mb = in_the_end_mb;
  run.out = read_text(told / "out");
  run.err = read_text(told / "err");
  return run;
}

}  // namespace kilter::test
