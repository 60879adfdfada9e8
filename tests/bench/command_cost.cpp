// What a command costs as a program of its own, against the least that it could: every file decoded
// once and, where stems are written, encoded once, by the number of threads that is best at it. All
// in one run, on the same files, by turns, warm and cold.
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <map>
#include <stdexcept>
#include <string>
#include <vector>

#include "child.h"
#include "cost.h"
#include "floor.h"
#include "kilter/base/parallel.h"
#include "long_show.h"
#include "machine.h"
#include "support/temporary_folder.h"

namespace {

using namespace kilter;
using bench::ChildCost;
using bench::Cost;
using bench::Files;
namespace fs = std::filesystem;

struct Request {
  std::string what{"align"};
  fs::path kilter;
  int tracks{6};
  double hours{1.0};
  int threads{available_threads()};
  int rounds{3};
  bool flac{false};
  bool cold{false};
  double rate_hz{48000.0};
  fs::path keep;
  // Of the scaling:
  int most_tracks{8};
  double most_hours{0.5};
};

/// Two of three are in the room.
bench::LongShow show_of(const Request& request) {
  bench::LongShow show;
  show.length_s = 3600.0 * request.hours;
  show.remote = request.tracks / 3;
  show.room = request.tracks - show.remote;
  show.flac = request.flac;
  show.rate_hz = request.rate_hz;
  return show;
}

struct Measured {
  Cost floor;
  int floor_threads{1};
  ChildCost command;
};

/// One command on one session's files.
class Bench {
 public:
  Bench(const Request& request, const fs::path& show, const fs::path& work)
      : request_(request), show_(show), work_(work) {
    input_ = bench::files_in(show);
    if (request.what != "check") return;
    done_ = work / "done";
    bench::run_child({request.kilter.string(), "conform", show.string(), "--out", done_.string(),
                      "--quiet", "--replace"});
    input_ = bench::files_in(done_ / "stems");
  }

  Measured measure(int threads, bool cold) const {
    std::map<int, std::vector<Cost>> floors;
    std::vector<Cost> costs;
    Measured result;
    for (int round = 0; round < request_.rounds; ++round) {
      for (int n = 1; n <= threads; n *= 2)
        floors[n].push_back(timed(cold, [&] { work_least(n); }));
      if (cold) forget();
      const ChildCost child = run(threads);
      costs.push_back(child.cost);
      result.command.peak_mb = std::max(result.command.peak_mb, child.peak_mb);
    }
    result.command.cost = bench::median(costs);
    result.floor.wall_s = 1e99;
    for (const auto& [n, all] : floors)
      if (const Cost cost = bench::median(all); cost.wall_s < result.floor.wall_s) {
        result.floor = cost;
        result.floor_threads = n;
      }
    return result;
  }
  std::size_t files() const { return input_.size(); }

 private:
  template <typename Work>
  Cost timed(bool cold, const Work& work) const {
    if (cold) forget();
    return bench::cost_of(work);
  }
  void forget() const {
    if (!bench::forget(input_)) throw std::runtime_error("this system forgets no files when asked");
  }
  void work_least(int threads) const {
    if (request_.what == "conform")
      bench::copy_all(input_, threads, true);
    else
      bench::decode_all(input_, threads);
  }
  ChildCost run(int threads) const {
    std::vector<std::string> args{request_.kilter.string(), request_.what};
    args.push_back((request_.what == "check" ? done_ : show_).string());
    if (request_.what == "align")
      args.insert(args.end(), {"--lineup", (work_ / "lineup.json").string()});
    if (request_.what == "conform") args.insert(args.end(), {"--out", (work_ / "out").string()});
    args.insert(args.end(), {"--quiet", "--threads", std::to_string(threads)});
    const ChildCost child = bench::run_child(args);
    fs::remove_all(work_ / "out");
    fs::remove(work_ / "lineup.json");
    return child;
  }

  const Request& request_;
  fs::path show_;
  fs::path work_;
  fs::path done_;
  Files input_;
};

void print_head() {
  fmt::print("{:<34}{:>8}{:>8}{:>9}{:>9}{:>8}{:>8}{:>9}\n", "", "floor", "", "command", "", "ratio",
             "", "peak");
  fmt::print("{:<34}{:>8}{:>8}{:>9}{:>9}{:>8}{:>8}{:>9}\n", "", "CPU, s", "wall, s", "CPU, s",
             "wall, s", "CPU", "wall", "RSS, MB");
}

void print_row(const std::string& name, const Measured& row) {
  fmt::print("{:<34}{:>8.2f}{:>8.2f}{:>9.2f}{:>9.2f}{:>8.2f}{:>8.2f}{:>9.0f}\n", name,
             row.floor.cpu_s, row.floor.wall_s, row.command.cost.cpu_s, row.command.cost.wall_s,
             row.command.cost.cpu_s / row.floor.cpu_s, row.command.cost.wall_s / row.floor.wall_s,
             row.command.peak_mb);
  std::fflush(stdout);
}

/// Made once for all commands where it is kept.
fs::path show_in(const fs::path& folder, const Request& request) {
  const fs::path show = folder / fmt::format("show-{}x{:.4f}h-{}{}", request.tracks, request.hours,
                                             request.rate_hz, request.flac ? "-flac" : "");
  if (fs::exists(show)) return show;
  bench::in_a_process(
      [&] { bench::write_long_show(show_of(request), request.threads, show.string() + ".part"); });
  fs::rename(show.string() + ".part", show);
  return show;
}

void measure_one(const Request& request, const fs::path& shows, const fs::path& work) {
  const Bench bench(request, show_in(shows, request), work);
  fmt::print(
      "kilter {}: {} tracks and the mix, {} h, {} Hz, {}; {} threads; medians of {} rounds\n",
      request.what, request.tracks, request.hours, request.rate_hz,
      request.flac ? "16-bit FLAC" : "24-bit WAV", request.threads, request.rounds);
  print_head();
  const Measured warm = bench.measure(request.threads, false);
  print_row(fmt::format("warm (floor: {} thread{})", warm.floor_threads,
                        warm.floor_threads == 1 ? "" : "s"),
            warm);
  if (!request.cold) return;
  const Measured cold = bench.measure(request.threads, true);
  print_row(fmt::format("cold (floor: {} thread{})", cold.floor_threads,
                        cold.floor_threads == 1 ? "" : "s"),
            cold);
}

void measure_scaling(Request request, const fs::path& shows, const fs::path& work) {
  const auto row = [&](const std::string& name, Request one) {
    for (const char* what : {"align", "conform"}) {
      one.what = what;
      const Bench bench(one, show_in(shows, one), work);
      print_row(fmt::format("{} {}", name, what), bench.measure(one.threads, false));
    }
  };
  fmt::print("Scaling, {} Hz, {}; medians of {} rounds\n", request.rate_hz,
             request.flac ? "16-bit FLAC" : "24-bit WAV", request.rounds);
  print_head();
  for (int tracks = 2; tracks <= request.most_tracks; tracks *= 2) {
    Request one = request;
    one.tracks = tracks;
    row(fmt::format("{} tracks, {} min,", tracks, 60.0 * one.hours), one);
  }
  for (const double hours : {1.0 / 60.0, 0.1, 0.5, 1.0, 3.0, 6.0, 12.0}) {
    if (hours > request.most_hours) break;
    Request one = request;
    one.hours = hours;
    row(fmt::format("{} tracks, {:.0f} min,", one.tracks, 60.0 * hours), one);
  }
  for (int threads = 1; threads <= request.threads; threads *= 2) {
    Request one = request;
    one.threads = threads;
    row(fmt::format("{} threads,", threads), one);
  }
}

}  // namespace

int main(int argc, char** argv) {
  Request request;
  CLI::App app("What a command costs, against decoding and encoding its files once.");
  app.add_option("what", request.what, "align, conform, check, or scaling")
      ->required()
      ->check(CLI::IsMember({"align", "conform", "check", "scaling"}));
  app.add_option("--kilter", request.kilter, "the program")->required()->check(CLI::ExistingFile);
  app.add_option("--tracks", request.tracks, "[6]")->check(CLI::Range(2, 32));
  app.add_option("--hours", request.hours, "[1]")->check(CLI::Range(0.01, 24.0));
  app.add_option("--rate", request.rate_hz, "of all files, Hz [48000]")
      ->check(CLI::Range(8000.0, 192000.0));
  app.add_flag("--flac", request.flac, "16-bit FLAC in place of 24-bit WAV");
  app.add_flag("--cold", request.cold, "also with files that the system has forgotten");
  app.add_option("--threads", request.threads, "[all cores]")->check(CLI::Range(1, 64));
  app.add_option("--rounds", request.rounds, "[3]")->check(CLI::Range(1, 100));
  app.add_option("--most-tracks", request.most_tracks, "scaling: 2, 4, 8 .. up to these [8]")
      ->check(CLI::Range(2, 32));
  app.add_option("--most-hours", request.most_hours, "scaling: up to 12 [0.5]");
  app.add_option("--keep", request.keep, "where sessions are made, and kept for the next run");
  CLI11_PARSE(app, argc, argv);
  try {
    fmt::print("{}", bench::machine_text());
    const test::TemporaryFolder work;
    const fs::path shows = request.keep.empty() ? work.path() : request.keep;
    fs::create_directories(shows);
    if (request.what == "scaling")
      measure_scaling(request, shows, work.path());
    else
      measure_one(request, shows, work.path());
  } catch (const std::exception& failure) {
    std::fprintf(stderr, "kilter-command-cost: %s\n", failure.what());
    return 1;
  }
  return 0;
}
