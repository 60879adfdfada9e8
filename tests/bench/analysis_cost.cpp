// What the analysis of a session costs, against decoding its files once: both in one run, on the
// same files, warm. CPU seconds of all threads, which a busy machine changes little, and wall time.
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <stdexcept>
#include <string>
#include <vector>

#include "analysis.h"
#include "cost.h"
#include "floor.h"
#include "kilter/sync/align.h"
#include "request.h"
#include "simulator/session_files.h"
#include "support/temporary_folder.h"

namespace {

using namespace kilter;
using bench::Cost;
using bench::Request;
namespace fs = std::filesystem;

/// The cheapest of some rounds over all files.
Cost decoding_cost(const std::vector<fs::path>& files, const Request& request) {
  Cost best{1e9, 1e9};
  for (int round = 0; round < request.rounds; ++round) {
    const Cost cost = bench::cost_of([&] { bench::decode_all(files, request.threads); });
    best.cpu_s = std::min(best.cpu_s, cost.cpu_s);
    best.wall_s = std::min(best.wall_s, cost.wall_s);
  }
  return best;
}

/// Furthest from the truth, over the length of every track; all have to be placed.
double furthest_us(const simulator::Session& session, const sync::Alignment& alignment) {
  double furthest_s = 0.0;
  for (std::size_t k = 0; k < alignment.tracks.size(); ++k) {
    const auto& map = alignment.tracks[k].map;
    if (!map) throw std::runtime_error("a track was not placed");
    for (int i = 1; i < 100; ++i) {
      const double track_s = 0.01 * i * session.tracks[k].length_s();
      if (const auto line_s = map->to_line(track_s))
        furthest_s = std::max(furthest_s, std::abs(*line_s - session.line_of(k, track_s)));
    }
  }
  return 1e6 * furthest_s;
}

void print(const std::string& name, const Cost& cost, double hours) {
  fmt::print("  {:<16}{:>10.2f}{:>10.2f}\n", name, cost.cpu_s / hours, cost.wall_s / hours);
}

/// The mix is the first file.
sync::Alignment measure(const std::vector<fs::path>& files, const std::string& name,
                        const Request& request) {
  const Cost decoding = decoding_cost(files, request);
  bench::Analysis analysis = bench::analyse(files, request.threads);
  const double hours = analysis.seconds_of_sound / 3600.0;
  fmt::print("\n{}: {:.2f} track-hours; seconds per track-hour\n", name, hours);
  fmt::print("  {:<16}{:>10}{:>10}\n", "", "CPU", "wall");
  print("decode once", decoding, hours);
  Cost all;
  for (const auto& stage : analysis.stages) {
    print(stage.name, stage.cost, hours);
    all += stage.cost;
  }
  print("analysis", all, hours);
  fmt::print("  {:<16}{:>10.2f}{:>10.2f}\n", "ratio", all.cpu_s / decoding.cpu_s,
             all.wall_s / decoding.wall_s);
  return std::move(analysis.alignment);
}

void measure(const simulator::Session& session, const std::string& name, bool flac,
             const Request& request) {
  simulator::FileOptions options;
  options.flac = flac;
  const test::TemporaryFolder folder;
  if (auto written = simulator::write_session(session, folder.path(), options); !written)
    throw std::runtime_error(written.error().what);
  std::vector<fs::path> files{folder /
                              simulator::file_name(options.mix_name, session.mix_coding, options)};
  for (const auto& track : session.tracks)
    files.push_back(folder / simulator::file_name(track.name, track.stored, options));
  const auto alignment = measure(files, name, request);
  fmt::print("  furthest from the truth {:.2f} us\n", furthest_us(session, alignment));
}

}  // namespace

int main(int argc, char** argv) {
  Request request;
  CLI::App app("What the analysis costs, against decoding every file once.");
  bench::add_options(app, request, "decoding");
  std::vector<fs::path> files;
  app.add_option("files", files, "in place of simulated ones; the mix first")
      ->check(CLI::ExistingFile);
  CLI11_PARSE(app, argc, argv);
  try {
    if (!files.empty()) {
      measure(files, "files", request);
      return 0;
    }
    const simulator::SyntheticVoices voices(request.seed);
    const auto simulated = [&](const simulator::SessionSpec& spec) {
      auto session = simulator::simulate(spec, voices, request.threads);
      if (!session) throw std::runtime_error(session.error().what);
      return *std::move(session);
    };
    simulator::SessionSpec spec = simulator::hybrid_session(request.seed, 60.0 * request.minutes,
                                                            request.room, request.remote);
    fmt::print("{} min, {} + {} people, {} threads, seed {}\n", request.minutes, request.room,
               request.remote, request.threads, request.seed);
    {
      const simulator::Session session = simulated(spec);
      measure(session, "24-bit WAV", false, request);
      measure(session, "24-bit FLAC", true, request);
    }
    spec.mix.coding = {simulator::Codec::mp3, 128.0};
    for (auto& person : spec.people)
      if (person.remote) person.stored = spec.mix.coding;
    measure(simulated(spec), "24-bit WAV, guests and mix MP3", false, request);
  } catch (const std::exception& failure) {
    std::fprintf(stderr, "kilter-analysis-cost: %s\n", failure.what());
    return 1;
  }
  return 0;
}
