// kilter-make-archive: an archive of short sessions, one for each fault that is known: those of the
// accuracy cases, which are heard, and those of broken_sessions, which lie in the files.
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <optional>
#include <stdexcept>
#include <string>
#include <vector>

#include "accuracy/cases.h"
#include "archive/broken_sessions.h"
#include "kilter/base/parallel.h"

namespace {

using namespace kilter;
namespace fs = std::filesystem;

struct Request {
  fs::path out;
  double seconds{40.0};
  std::uint64_t seed{1};
  int threads{available_threads()};
};

/// Recordings of more than an hour are no short session.
bool is_short(const accuracy::Case& row) { return !row.on_request && row.name != "hours"; }

/// Faults need some room: where they find none, the session is longer.
void make_heard(const accuracy::Case& row, const Request& request) {
  constexpr double kLongest_s = 320.0;
  for (double length_s = request.seconds;; length_s *= 2.0) {
    try {
      accuracy::write_session_files(row.make(request.seed, length_s), 1,
                                    request.out / "heard" / row.name);
      return;
    } catch (const std::exception&) {
      if (length_s >= kLongest_s) throw;
    }
  }
}

void make_whole(const Request& request, const fs::path& folder) {
  auto spec = simulator::hybrid_session(request.seed, request.seconds, 2, 1);
  for (auto& recorder : spec.recorders) {
    recorder.rate_hz = 16000.0;
    recorder.start_s = -2.0;
  }
  spec.mix.rate_hz = 16000.0;
  accuracy::write_session_files({spec}, 1, folder);
}

int run(const Request& request) {
  std::vector<accuracy::Case> rows;
  for (const accuracy::Case& row : accuracy::cases())
    if (is_short(row)) rows.push_back(row);
  std::vector<std::string> failures(rows.size());
  parallel_for(static_cast<int>(rows.size()), request.threads, [&](int i) {
    const auto at = static_cast<std::size_t>(i);
    try {
      make_heard(rows[at], request);
    } catch (const std::exception& failure) {
      failures[at] = rows[at].name + ": " + failure.what();
    }
  });
  for (const std::string& failure : failures)
    if (!failure.empty()) throw std::runtime_error(failure);
  const fs::path whole = request.out / "whole";
  make_whole(request, whole);
  const auto broken = archive::broken_sessions();
  for (const archive::BrokenSession& session : broken)
    session.make(whole, request.out / session.name);
  fmt::print(
      "{} sessions with a fault that is heard, {} with one in their files, and a whole one\n",
      rows.size(), broken.size());
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  Request request;
  CLI::App app{"Makes an archive of short sessions with every fault that is known."};
  app.add_option("out", request.out, "the folder to make")->required();
  app.add_option("--seconds", request.seconds, "length of most sessions [40]")
      ->check(CLI::Range(20.0, 3600.0));
  app.add_option("--seed", request.seed, "every seed is another archive [1]");
  app.add_option("--threads", request.threads, "[all cores]")->check(CLI::Range(1, 1024));
  CLI11_PARSE(app, argc, argv);
  try {
    return run(request);
  } catch (const std::exception& failure) {
    std::fprintf(stderr, "kilter-make-archive: %s\n", failure.what());
    return 1;
  }
}
