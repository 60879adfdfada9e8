// What stems cost, against a plain copy through libsndfile that decodes and encodes every file
// once: all in one run, on the same files, warm. CPU seconds of all threads and wall time.
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <atomic>
#include <cstdio>
#include <filesystem>
#include <sstream>
#include <stdexcept>
#include <string>
#include <vector>

#include "cost.h"
#include "floor.h"
#include "kilter/commands/run.h"
#include "request.h"
#include "simulator/session_files.h"
#include "support/temporary_folder.h"

namespace {

using namespace kilter;
using bench::Cost;
using bench::Request;
namespace fs = std::filesystem;

void run_kilter(std::vector<std::string> args, const Request& request) {
  args.insert(args.end(), {"--threads", std::to_string(request.threads), "--quiet"});
  std::ostringstream out;
  std::ostringstream err;
  const std::atomic<bool> stop{false};
  const int exit = commands::run(args, out, err, false, stop);
  if (exit > 1) throw std::runtime_error("kilter ended with " + std::to_string(exit) + err.str());
}

struct Row {
  std::string name;
  Cost best{1e9, 1e9};

  template <typename Work>
  void time(const Work& work) {
    const Cost cost = bench::cost_of(work);
    best.cpu_s = std::min(best.cpu_s, cost.cpu_s);
    best.wall_s = std::min(best.wall_s, cost.wall_s);
  }
};

void run(const Request& request) {
  const auto spec =
      simulator::hybrid_session(request.seed, 60.0 * request.minutes, request.room, request.remote);
  const test::TemporaryFolder folder;
  const fs::path show = folder / "show";
  {
    const auto session =
        simulator::simulate(spec, simulator::SyntheticVoices(request.seed), request.threads);
    if (!session) throw std::runtime_error(session.error().what);
    if (auto written = simulator::write_session(*session, show, {}); !written)
      throw std::runtime_error(written.error().what);
  }
  std::vector<fs::path> files;
  for (const auto& entry : fs::directory_iterator(show)) files.push_back(entry.path());
  std::sort(files.begin(), files.end());
  const std::string lineup = (folder / "show.lineup.json").string();
  run_kilter({"align", show.string(), "--lineup", lineup}, request);

  Row plain{"plain copy"};
  Row safe{"copy, synced"};
  Row stems{"conform --lineup"};
  Row all{"conform"};
  // By turns, so that a busy machine troubles all alike.
  for (int round = 0; round < request.rounds; ++round) {
    plain.time([&] { bench::copy_all(files, request.threads, false); });
    safe.time([&] { bench::copy_all(files, request.threads, true); });
    const test::TemporaryFolder out;
    stems.time([&] {
      run_kilter({"conform", show.string(), "--lineup", lineup, "--out", (out / "a").string()},
                 request);
    });
    fs::remove_all(out / "a");
    all.time([&] {
      run_kilter({"conform", show.string(), "--out", (out / "b").string()}, request);
    });
  }
  fmt::print("{} files of {} min, 24-bit WAV, {} threads; best of {} rounds\n", files.size(),
             request.minutes, request.threads, request.rounds);
  fmt::print("  {:<18}{:>9}{:>9}{:>14}{:>12}\n", "", "CPU, s", "wall, s", "CPU : plain",
             "wall : safe");
  for (const Row* row : {&plain, &safe, &stems, &all})
    fmt::print("  {:<18}{:>9.2f}{:>9.2f}{:>14.2f}{:>12.2f}\n", row->name, row->best.cpu_s,
               row->best.wall_s, row->best.cpu_s / plain.best.cpu_s,
               row->best.wall_s / safe.best.wall_s);
}

}  // namespace

int main(int argc, char** argv) {
  Request request;
  CLI::App app("What stems cost, against a plain copy of the same files.");
  bench::add_options(app, request, "everything");
  CLI11_PARSE(app, argc, argv);
  try {
    run(request);
  } catch (const std::exception& failure) {
    std::fprintf(stderr, "kilter-conform-cost: %s\n", failure.what());
    return 1;
  }
  return 0;
}
