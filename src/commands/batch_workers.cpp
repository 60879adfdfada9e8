#include "batch_workers.h"

#include <fcntl.h>
#include <poll.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <chrono>
#include <cstdlib>
#include <string_view>
#include <thread>

#include "kilter/base/system_words.h"

namespace kilter::commands {
namespace {

struct Pipe {
  int from{-1};
  int to{-1};
};

bool make(Pipe& made) {
  std::array<int, 2> ends{};
  if (::pipe(ends.data()) != 0) return false;
  for (const int end : ends) ::fcntl(end, F_SETFD, FD_CLOEXEC);
  made = {ends[0], ends[1]};
  return true;
}

void close_both(const Pipe& pipe) {
  if (pipe.from >= 0) ::close(pipe.from);
  if (pipe.to >= 0) ::close(pipe.to);
}

bool write_all(int descriptor, std::string_view text) {
  while (!text.empty()) {
    const ssize_t count = ::write(descriptor, text.data(), text.size());
    if (count < 0 && errno == EINTR) continue;
    if (count <= 0) return false;
    text.remove_prefix(static_cast<std::size_t>(count));
  }
  return true;
}

/// Passes a wish to stop on to the work. Where whoever waits for its text is gone, it has a moment
/// to clear away what it was writing; then all of it ends here.
void watch(int leash, const std::atomic<bool>& signalled, std::atomic<bool>& stop) {
  using namespace std::chrono_literals;
  constexpr int kLook_ms = 100;
  for (;;) {
    pollfd waiting{leash, POLLIN, 0};
    const int ready = ::poll(&waiting, 1, kLook_ms);
    if (signalled.load()) stop.store(true);
    if (ready <= 0) continue;
    char byte = 0;
    const ssize_t count = ::read(leash, &byte, 1);
    if (count >= 0) stop.store(true);
    if (count != 0) continue;
    std::this_thread::sleep_for(2s);
    ::_exit(EXIT_FAILURE);
  }
}

}  // namespace

BatchWorkers::~BatchWorkers() {
  for (const Worker& worker : workers_) {
    ::close(worker.leash);
    ::close(worker.result);
    while (::waitpid(worker.process, nullptr, 0) < 0 && errno == EINTR) {
    }
  }
}

Result<void> BatchWorkers::start(std::size_t id, const Work& work) {
  const auto no_process = [](int code) {
    return Error{ErrorKind::bug,
                 {},
                 "no process can be started (" + system_words(code) + ")",
                 "close other programs, or work with fewer --jobs"};
  };
  Pipe leash;
  Pipe result;
  if (!make(leash) || !make(result)) {
    const int problem = errno;
    close_both(leash);
    return no_process(problem);
  }
  const pid_t process = ::fork();
  if (process < 0) {
    const int problem = errno;
    close_both(leash);
    close_both(result);
    return no_process(problem);
  }
  if (process == 0) {
    ::close(leash.to);
    ::close(result.from);
    be_worker(work, leash.from, result.to);
  }
  ::close(leash.from);
  ::close(result.to);
  workers_.push_back({id, process, leash.to, result.from, {}});
  return {};
}

void BatchWorkers::be_worker(const Work& work, int leash, int result) const {
  // The others' leashes end with the process that holds them, not with this one.
  for (const Worker& other : workers_) {
    ::close(other.leash);
    ::close(other.result);
  }
  std::atomic<bool> stop{false};
  try {
    std::thread([&, leash] { watch(leash, stop_, stop); }).detach();
    const std::string text = work(stop);
    // Neither this process's streams nor its destructors are its own.
    ::_exit(write_all(result, text) ? EXIT_SUCCESS : EXIT_FAILURE);
  } catch (...) {
    ::_exit(EXIT_FAILURE);
  }
}

std::optional<BatchWorkers::Ended> BatchWorkers::wait(std::chrono::milliseconds longest) {
  std::vector<pollfd> waiting;
  waiting.reserve(workers_.size());
  for (const Worker& worker : workers_) waiting.push_back({worker.result, POLLIN, 0});
  if (::poll(waiting.data(), static_cast<nfds_t>(waiting.size()),
             static_cast<int>(longest.count())) <= 0)
    return std::nullopt;
  for (std::size_t i = 0; i < waiting.size(); ++i) {
    if (waiting[i].revents == 0) continue;
    std::array<char, 65536> block;
    const ssize_t count = ::read(waiting[i].fd, block.data(), block.size());
    if (count > 0)
      workers_[i].text.append(block.data(), static_cast<std::size_t>(count));
    else if (count == 0 || errno != EINTR)
      return finish(i);
  }
  return std::nullopt;
}

BatchWorkers::Ended BatchWorkers::finish(std::size_t index) {
  const Worker worker = std::move(workers_[index]);
  workers_.erase(workers_.begin() + static_cast<std::ptrdiff_t>(index));
  ::close(worker.leash);
  ::close(worker.result);
  int status = 0;
  while (::waitpid(worker.process, &status, 0) < 0 && errno == EINTR) {
  }
  Ended ended{worker.id, worker.text, !WIFEXITED(status) || WEXITSTATUS(status) != EXIT_SUCCESS, 0};
  if (WIFSIGNALED(status)) ended.signal = WTERMSIG(status);
  return ended;
}

void BatchWorkers::stop_all() {
  for (const Worker& worker : workers_) write_all(worker.leash, "s");
}

}  // namespace kilter::commands
