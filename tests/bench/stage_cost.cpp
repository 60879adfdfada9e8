// What each stage of a conform run costs, and what bounds it: computing, memory, the disk, or
// waiting. What this machine can do at most is measured in the same run.
#include <fcntl.h>
#include <fmt/core.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <atomic>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <sstream>
#include <stdexcept>
#include <string>
#include <vector>

#include "analysis.h"
#include "cost.h"
#include "floor.h"
#include "kilter/base/parallel.h"
#include "kilter/commands/run.h"
#include "kilter/signal/fft.h"
#include "long_show.h"
#include "machine.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace {

using namespace kilter;
using bench::Cost;
namespace fs = std::filesystem;

constexpr double kTellsNothing_s = 1e-3;

struct Request {
  int tracks{6};
  double minutes{10.0};
  int threads{available_threads()};
};

/// With all threads at once.
struct Limits {
  double memory_gb_s{0.0};  ///< read and written, in blocks that no cache holds
  double fft_gflop_s{0.0};
  double disk_mb_s{0.0};  ///< written, until the disk holds it
};

double memory_gb_s(int threads) {
  constexpr std::size_t kFloats = std::size_t{1} << 24U;
  std::vector<std::vector<float>> from(static_cast<std::size_t>(threads));
  auto to = from;
  parallel_for(threads, threads, [&](int i) {
    from[static_cast<std::size_t>(i)].assign(kFloats, 1.0F);
    to[static_cast<std::size_t>(i)].assign(kFloats, 0.0F);
  });
  double best_s = 1e9;
  for (int round = 0; round < 5; ++round) {
    const Cost cost = bench::cost_of([&] {
      parallel_for(threads, threads, [&](int i) {
        const auto at = static_cast<std::size_t>(i);
        std::copy(from[at].begin(), from[at].end(), to[at].begin());
      });
    });
    best_s = std::min(best_s, cost.wall_s);
  }
  return 1e-9 * 2.0 * sizeof(float) * kFloats * threads / best_s;
}

/// By the customary count of 2.5 N log2 N for real input, in the cache.
double fft_gflop_s(int threads) {
  constexpr int kSize = 4096;
  constexpr int kTimes = 4000;
  double best_s = 1e9;
  for (int round = 0; round < 5; ++round) {
    const Cost cost = bench::cost_of([&] {
      parallel_for(threads, threads, [&](int i) {
        const RealFft fft(kSize);
        const auto noise = test::noise(kSize, 0.5F, static_cast<std::uint32_t>(i));
        const FftVector<float> in(noise.begin(), noise.end());
        FftVector<std::complex<float>> bins(static_cast<std::size_t>(fft.bins()));
        for (int n = 0; n < kTimes; ++n) fft.forward(in, bins);
      });
    });
    best_s = std::min(best_s, cost.wall_s);
  }
  return 1e-9 * 2.5 * kSize * std::log2(kSize) * kTimes * threads / best_s;
}

double disk_mb_s(const fs::path& folder) {
  constexpr std::size_t kBytes = std::size_t{1} << 28U;
  const std::vector<char> block(std::size_t{1} << 22U, 'k');
  const fs::path file = folder / "written";
  const Cost cost = bench::cost_of([&] {
    const int descriptor = ::open(file.c_str(), O_WRONLY | O_CREAT, 0600);
    for (std::size_t done = 0; done < kBytes; done += block.size())
      if (::write(descriptor, block.data(), block.size()) < 0) break;
    ::fsync(descriptor);
    ::close(descriptor);
  });
  fs::remove(file);
  return 1e-6 * kBytes / cost.wall_s;
}

/// `bytes`: which the stage reads and writes at the least, so that its share of what memory can do
/// is a lower bound.
void print(const std::string& name, const Cost& cost, double bytes, const Limits& limits,
           int threads) {
  fmt::print("{:<28}{:>9.2f}{:>9.2f}", name, cost.cpu_s, cost.wall_s);
  if (cost.wall_s < kTellsNothing_s) {  // all of it while the rest waited
    fmt::print("\n");
    return;
  }
  fmt::print("{:>7.0f} %", 100.0 * cost.cpu_s / (cost.wall_s * threads));
  if (bytes > 0.0)
    fmt::print("{:>9.2f}{:>8.1f} %", 1e-9 * bytes / cost.wall_s,
               100.0 * 1e-9 * bytes / cost.wall_s / limits.memory_gb_s);
  fmt::print("\n");
}

Cost less(const Cost& all, const Cost& part) {
  return {std::max(0.0, all.cpu_s - part.cpu_s), std::max(0.0, all.wall_s - part.wall_s)};
}

Cost conform_cost(const fs::path& show, const fs::path& lineup, const fs::path& out, int threads) {
  std::ostringstream told;
  const std::atomic<bool> stop{false};
  const std::vector<std::string> args{"conform",       show.string(), "--lineup",
                                      lineup.string(), "--out",       out.string(),
                                      "--quiet",       "--threads",   std::to_string(threads)};
  const Cost cost = bench::cost_of([&] {
    if (commands::run(args, told, told, false, stop) > 1) throw std::runtime_error(told.str());
  });
  return cost;
}

void run(const Request& request) {
  const test::TemporaryFolder work;
  const fs::path show = work / "show";
  bench::LongShow plan;
  plan.length_s = 60.0 * request.minutes;
  plan.remote = request.tracks / 3;
  plan.room = request.tracks - plan.remote;
  bench::write_long_show(plan, request.threads, show);
  bench::Files files = bench::files_in(show);
  std::stable_partition(files.begin(), files.end(),
                        [](const fs::path& file) { return file.stem() == "mixdown"; });

  const int n = request.threads;
  const Limits limits{memory_gb_s(n), fft_gflop_s(n), disk_mb_s(work.path())};
  fmt::print(
      "This machine, {} threads: memory {:.1f} GB/s, FFT {:.1f} GFLOP/s; disk {:.0f} MB/s\n\n", n,
      limits.memory_gb_s, limits.fft_gflop_s, limits.disk_mb_s);

  double file_bytes = 0.0;
  for (const fs::path& file : files) file_bytes += static_cast<double>(fs::file_size(file));
  const double float_bytes = file_bytes * 4.0 / 3.0;  // of 24-bit files
  const Cost decode = bench::cost_of([&] { bench::decode_all(files, n); });
  const bench::Analysis analysis = bench::analyse(files, n);
  constexpr double kScratchBytes = 2.0 * 16000.0;  // a second of the analysis signal
  const double scratch_bytes = kScratchBytes * analysis.seconds_of_sound;

  fmt::print("{:<28}{:>9}{:>9}{:>9}{:>9}{:>10}\n", "", "CPU, s", "wall, s", "busy", "GB/s",
             "of memory");
  print("decode (libsndfile)", decode, file_bytes + float_bytes, limits, n);
  for (const bench::Stage& stage : analysis.stages) {
    if (stage.cost.wall_s < kTellsNothing_s) continue;
    if (stage.name == "intake")
      print("  reduce, levels, scratch", less(stage.cost, decode), float_bytes + scratch_bytes,
            limits, n);
    else
      print("  " + stage.name, stage.cost, scratch_bytes, limits, n);
  }

  const fs::path lineup = work / "lineup.json";
  std::ostringstream told;
  const std::atomic<bool> stop{false};
  if (commands::run(
          std::vector<std::string>{"align", show.string(), "--lineup", lineup.string(), "--quiet"},
          told, told, false, stop) > 1)
    throw std::runtime_error(told.str());
  const Cost plain = bench::cost_of([&] { bench::copy_all(files, n, false); });
  const Cost safe = bench::cost_of([&] { bench::copy_all(files, n, true); });
  const Cost stems = conform_cost(show, lineup, work / "out", n);
  print("copy (libsndfile)", plain, 2.0 * (file_bytes + float_bytes), limits, n);
  print("  and until the disk has it", less(safe, plain), 0.0, limits, n);
  print("stems (conform --lineup)", stems, 2.0 * (file_bytes + float_bytes), limits, n);
  print("  beyond the safe copy", less(stems, safe), float_bytes, limits, n);
  fmt::print(
      "\nThe disk alone would take {:.2f} s for the stems.\n"
      "busy: of all threads; what is missing is waiting, or a stage that one thread does\n"
      "GB/s: what a stage reads and writes at the least; near the limit, memory bounds it, else\n"
      "computing does where it is busy. Stages below another are parts of what it is made of.\n",
      1e-6 * file_bytes / limits.disk_mb_s);
}

}  // namespace

int main(int argc, char** argv) {
  Request request;
  CLI::App app("What each stage costs, and what bounds it.");
  app.add_option("--tracks", request.tracks, "[6]")->check(CLI::Range(2, 32));
  app.add_option("--minutes", request.minutes, "[10]")->check(CLI::Range(1.0, 720.0));
  app.add_option("--threads", request.threads, "[all cores]")->check(CLI::Range(1, 64));
  CLI11_PARSE(app, argc, argv);
  try {
    fmt::print("{}", bench::machine_text());
    run(request);
  } catch (const std::exception& failure) {
    std::fprintf(stderr, "kilter-stage-cost: %s\n", failure.what());
    return 1;
  }
  return 0;
}
