#include "child.h"

#include <fcntl.h>
#include <spawn.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <stdexcept>

extern char** environ;

namespace kilter::bench {
namespace {

pid_t spawn(const std::vector<std::string>& args) {
  std::vector<char*> words;
  words.reserve(args.size() + 1);
  for (const std::string& arg : args) words.push_back(const_cast<char*>(arg.c_str()));
  words.push_back(nullptr);
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_addopen(&actions, STDOUT_FILENO, "/dev/null", O_WRONLY, 0);
  pid_t process = -1;
  const int problem =
      posix_spawn(&process, words.front(), &actions, nullptr, words.data(), environ);
  posix_spawn_file_actions_destroy(&actions);
  if (problem != 0) throw std::runtime_error(args.front() + " cannot be started");
  return process;
}

}  // namespace

ChildCost run_child(const std::vector<std::string>& args, int worst_exit) {
  const Cost start = now();
  const pid_t process = spawn(args);
  int status = 0;
  rusage usage{};
  while (::wait4(process, &status, 0, &usage) < 0)
    if (errno != EINTR) throw std::runtime_error(args.front() + " cannot be waited for");
  if (!WIFEXITED(status) || WEXITSTATUS(status) > worst_exit)
    throw std::runtime_error(args.front() + ' ' + args.at(1) + " failed");
  ChildCost child;
  child.cost = {cpu_seconds(usage), since(start).wall_s};
#ifdef __APPLE__
  constexpr double kPerMegabyte = 1e6;  // ru_maxrss in bytes
#else
  constexpr double kPerMegabyte = 1e6 / 1024.0;  // in kibibytes
#endif
  child.peak_mb = static_cast<double>(usage.ru_maxrss) / kPerMegabyte;
  child.exit = WEXITSTATUS(status);
  return child;
}

void in_a_process(const std::function<void()>& work) {
  std::fflush(nullptr);
  const pid_t process = ::fork();
  if (process < 0) throw std::runtime_error("no process can be started");
  if (process == 0) {
    try {
      work();
      ::_exit(0);
    } catch (const std::exception& failure) {
      std::fprintf(stderr, "%s\n", failure.what());
      ::_exit(1);
    }
  }
  int status = 0;
  while (::waitpid(process, &status, 0) < 0 && errno == EINTR) {
  }
  if (status != 0) throw std::runtime_error("a session could not be made");
}

}  // namespace kilter::bench
