// What stems cost, against a plain copy through libsndfile that decodes and encodes every file
// once: all in one run, on the same files, warm. CPU seconds of all threads and wall time.
#include <fcntl.h>
#include <fmt/core.h>
#include <sndfile.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <atomic>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <sstream>
#include <stdexcept>
#include <string>
#include <vector>

#include "cost.h"
#include "kilter/base/parallel.h"
#include "kilter/commands/run.h"
#include "request.h"
#include "simulator/session_files.h"
#include "support/temporary_folder.h"

namespace {

using namespace kilter;
using bench::Cost;
using bench::Request;
namespace fs = std::filesystem;

using Handle = std::unique_ptr<SNDFILE, int (*)(SNDFILE*)>;

/// A 24-bit copy, waited for until the disk holds it where `safely`.
void copy(const fs::path& from, const fs::path& to, bool safely) {
  SF_INFO info{};
  const Handle in(sf_open(from.c_str(), SFM_READ, &info), sf_close);
  if (!in) throw std::runtime_error(from.string() + " cannot be read");
  SF_INFO format{};
  format.samplerate = info.samplerate;
  format.channels = info.channels;
  format.format = SF_FORMAT_WAV | SF_FORMAT_PCM_24;
  Handle out(sf_open(to.c_str(), SFM_WRITE, &format), sf_close);
  if (!out) throw std::runtime_error(to.string() + " cannot be written");
  constexpr sf_count_t kFrames = 1 << 14;
  std::vector<int> block(static_cast<std::size_t>(kFrames * info.channels));
  for (sf_count_t got = 1; got > 0;) {
    got = sf_readf_int(in.get(), block.data(), kFrames);
    if (sf_writef_int(out.get(), block.data(), got) != got)
      throw std::runtime_error(to.string() + " cannot be written");
  }
  if (sf_close(out.release()) != 0) throw std::runtime_error("cannot be completed");
  if (!safely) return;
  const int descriptor = ::open(to.c_str(), O_WRONLY);
  const bool synced = ::fsync(descriptor) == 0;
  ::close(descriptor);
  if (!synced) throw std::runtime_error(to.string() + " cannot be synced");
}

void copy_all(const std::vector<fs::path>& files, const Request& request, bool safely) {
  const test::TemporaryFolder folder;
  std::vector<std::string> failures(files.size());
  parallel_for(static_cast<int>(files.size()), request.threads, [&](int i) {
    const auto at = static_cast<std::size_t>(i);
    try {
      copy(files[at], folder / files[at].filename().string(), safely);
    } catch (const std::exception& failure) {
      failures[at] = failure.what();
    }
  });
  for (const std::string& failure : failures)
    if (!failure.empty()) throw std::runtime_error(failure);
}

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
    const Cost start = bench::now();
    work();
    const Cost cost = bench::since(start);
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
    plain.time([&] { copy_all(files, request, false); });
    safe.time([&] { copy_all(files, request, true); });
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
