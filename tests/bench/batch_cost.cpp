// What a batch of short sessions costs over the sum of its parts: each session by a run of
// `kilter conform` of its own, and by one within this process. All in one run, on the same files.
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <atomic>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <optional>
#include <sstream>
#include <stdexcept>
#include <string>
#include <vector>

#include "child.h"
#include "cost.h"
#include "kilter/base/parallel.h"
#include "kilter/commands/run.h"
#include "machine.h"
#include "simulator/session_files.h"
#include "support/temporary_folder.h"

namespace {

using namespace kilter;
using bench::Cost;
namespace fs = std::filesystem;

struct Request {
  fs::path kilter;
  int sessions{200};
  int unlike{20};
  double seconds{15.0};
  int jobs{available_threads()};
  int threads{available_threads()};
  int rounds{1};
};

/// Lengths by turns from two thirds to four thirds, as archives have them.
std::vector<fs::path> make_archive(const Request& request, const fs::path& archive) {
  std::vector<fs::path> sessions;
  for (int i = 0; i < request.sessions; ++i) {
    const fs::path folder = archive / fmt::format("hour-{:03}", i);
    sessions.push_back(folder);
    if (i >= request.unlike) {
      fs::copy(sessions[static_cast<std::size_t>(i % request.unlike)], folder);
      continue;
    }
    const auto seed = static_cast<std::uint64_t>(i + 1);
    const double length_s = request.seconds * (2.0 / 3.0 + 2.0 / 3.0 * (i * 7 % 20) / 19.0);
    const auto session = simulator::simulate(simulator::hybrid_session(seed, length_s, 2, 1),
                                             simulator::SyntheticVoices(seed), request.jobs);
    if (!session) throw std::runtime_error(session.error().what);
    if (auto written = simulator::write_session(*session, folder, {}); !written)
      throw std::runtime_error(written.error().what);
  }
  return sessions;
}

/// Seconds in which some core had nothing to do, all cores added up. Linux only.
std::optional<double> idle_seconds() {
  std::ifstream facts("/proc/stat");
  std::string word;
  double user = 0.0, nice = 0.0, system = 0.0, idle = 0.0, waiting = 0.0;
  if (!(facts >> word >> user >> nice >> system >> idle >> waiting) || word != "cpu")
    return std::nullopt;
  constexpr double kTicksPerSecond = 100.0;
  return (idle + waiting) / kTicksPerSecond;
}

void conform_here(const fs::path& session, const fs::path& out) {
  std::ostringstream told;
  const std::atomic<bool> stop{false};
  const std::vector<std::string> args{"conform", session.string(), "--out",     out.string(),
                                      "--quiet", "--json",         "--threads", "1"};
  if (commands::run(args, told, told, false, stop) > 1) throw std::runtime_error(told.str());
}

/// `cores`: over how many the work may be spread.
void print(const std::string& name, const Cost& cost, const Cost& parts, int cores) {
  fmt::print("{:<36}{:>9.2f}{:>9.2f}{:>12.3f}{:>14.3f}\n", name, cost.cpu_s, cost.wall_s,
             cost.cpu_s / parts.cpu_s, cost.wall_s * cores / parts.wall_s);
}

void run(const Request& request) {
  const test::TemporaryFolder work;
  const auto sessions = make_archive(request, work / "shows");
  const std::string jobs = std::to_string(request.jobs);
  std::vector<Cost> apart, here, batch, again;
  std::vector<double> idle_s;
  for (int round = 0; round < request.rounds; ++round) {
    Cost of_apart, of_here;
    const auto do_apart = [&](const fs::path& session) {
      const fs::path out = work / "apart" / session.filename().string();
      of_apart += bench::run_child({request.kilter.string(), "conform", session.string(), "--out",
                                    out.string(), "--quiet", "--json", "--threads", "1"})
                      .cost;
    };
    const auto do_here = [&](const fs::path& session) {
      const fs::path out = work / "here" / session.filename().string();
      of_here += bench::cost_of([&] { conform_here(session, out); });
    };
    fs::create_directories(work / "apart");
    fs::create_directories(work / "here");
    // By turns, so that a busy machine troubles both alike.
    for (const fs::path& session : sessions) {
      do_apart(session);
      do_here(session);
    }
    const std::vector<std::string> line{request.kilter.string(),
                                        "batch",
                                        (work / "shows").string(),
                                        "--out",
                                        (work / "batch").string(),
                                        "--quiet",
                                        "--jobs",
                                        jobs,
                                        "--threads",
                                        std::to_string(request.threads)};
    const auto idle_before = idle_seconds();
    batch.push_back(bench::run_child(line).cost);
    if (const auto idle_after = idle_seconds(); idle_before && idle_after)
      idle_s.push_back(*idle_after - *idle_before);
    again.push_back(bench::run_child(line).cost);
    apart.push_back(of_apart);
    here.push_back(of_here);
    for (const char* done : {"apart", "here", "batch"}) fs::remove_all(work / done);
  }
  const Cost parts = bench::median(apart);
  const Cost all = bench::median(batch);
  fmt::print(
      "{} sessions of {:.0f} to {:.0f} s, 3 tracks and the mix; {} jobs, {} threads; medians of "
      "{}\n",
      request.sessions, request.seconds * 2.0 / 3.0, request.seconds * 4.0 / 3.0, request.jobs,
      request.threads, request.rounds);
  fmt::print("{:<36}{:>9}{:>9}{:>12}{:>14}\n", "", "CPU, s", "wall, s", "CPU : parts",
             "wall*cores:p.");
  print("each by a kilter conform of its own", parts, parts, 1);
  print("each within this process", bench::median(here), parts, 1);
  const int cores = std::min(available_threads(), request.threads);
  print("kilter batch", all, parts, cores);
  print("kilter batch, all done before", bench::median(again), parts, cores);
  fmt::print("The batch had {:.1f} % of {} cores", 100.0 * all.cpu_s / (all.wall_s * cores), cores);
  if (!idle_s.empty())
    fmt::print("; cores stood idle for {:.1f} % of its time, whoever else was at work",
               100.0 * bench::median(idle_s) / (all.wall_s * available_threads()));
  fmt::print(".\n");
}

}  // namespace

int main(int argc, char** argv) {
  Request request;
  CLI::App app("What a batch of short sessions costs over the sum of its parts.");
  app.add_option("--kilter", request.kilter, "the program")->required()->check(CLI::ExistingFile);
  app.add_option("--sessions", request.sessions, "[200]")->check(CLI::Range(1, 100000));
  app.add_option("--unlike", request.unlike, "how many are no copies of others [20]")
      ->check(CLI::Range(1, 100000));
  app.add_option("--seconds", request.seconds, "mean length [15]")->check(CLI::Range(8.0, 3600.0));
  app.add_option("--jobs", request.jobs, "side by side [all cores]")->check(CLI::Range(1, 64));
  app.add_option("--threads", request.threads, "of the batch together [all cores]")
      ->check(CLI::Range(1, 64));
  app.add_option("--rounds", request.rounds, "[1]")->check(CLI::Range(1, 100));
  CLI11_PARSE(app, argc, argv);
  try {
    fmt::print("{}", bench::machine_text());
    run(request);
  } catch (const std::exception& failure) {
    std::fprintf(stderr, "kilter-batch-cost: %s\n", failure.what());
    return 1;
  }
  return 0;
}
