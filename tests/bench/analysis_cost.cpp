// What the analysis of a session costs, against decoding its files once: both in one run, on the
// same files, warm. CPU seconds of all threads, which a busy machine changes little, and wall time.
#include <fmt/core.h>
#include <sndfile.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <stdexcept>
#include <string>
#include <vector>

#include "cost.h"
#include "kilter/base/parallel.h"
#include "kilter/intake/intake.h"
#include "kilter/sync/align.h"
#include "request.h"
#include "simulator/session_files.h"
#include "support/temporary_folder.h"

namespace {

using namespace kilter;
using bench::Cost;
using bench::now;
using bench::Request;
using bench::since;
namespace fs = std::filesystem;

/// Stages in the order in which they came.
class Stopwatch {
 public:
  void enter(const std::string& stage) {
    if (!stages_.empty() && stages_.back().name == stage) return;
    leave();
    stages_.push_back({stage, {}});
    start_ = now();
  }
  void leave() {
    if (!stages_.empty()) stages_.back().cost += since(start_);
    start_ = now();
  }

  struct Stage {
    std::string name;
    Cost cost;
  };
  const std::vector<Stage>& stages() const { return stages_; }

 private:
  std::vector<Stage> stages_;
  Cost start_;
};

/// Reads a file to its end, as plainly as libsndfile can.
bool decode(const fs::path& file) {
  SF_INFO info{};
  const std::unique_ptr<SNDFILE, int (*)(SNDFILE*)> sound(sf_open(file.c_str(), SFM_READ, &info),
                                                          sf_close);
  if (!sound) return false;
  constexpr sf_count_t kFrames = 1 << 14;
  std::vector<float> block(static_cast<std::size_t>(kFrames * info.channels));
  sf_count_t all = 0;
  for (sf_count_t got = 1; got > 0; all += got)
    got = sf_readf_float(sound.get(), block.data(), kFrames);
  return all == info.frames;
}

/// The cheapest of some rounds over all files.
Cost decode_all(const std::vector<fs::path>& files, const Request& request) {
  Cost best{1e9, 1e9};
  for (int round = 0; round < request.rounds; ++round) {
    std::vector<char> well(files.size(), 0);
    const Cost start = now();
    parallel_for(static_cast<int>(files.size()), request.threads, [&](int i) {
      const auto at = static_cast<std::size_t>(i);
      well[at] = decode(files[at]) ? 1 : 0;
    });
    const Cost cost = since(start);
    if (std::count(well.begin(), well.end(), 0) > 0) throw std::runtime_error("cannot decode");
    best.cpu_s = std::min(best.cpu_s, cost.cpu_s);
    best.wall_s = std::min(best.wall_s, cost.wall_s);
  }
  return best;
}

struct Analysis {
  sync::Alignment alignment;
  std::vector<Stopwatch::Stage> stages;
  double seconds_of_sound{0.0};  ///< all files, the mix too
};

/// All that stands between files and placings. The mix is the first file.
Analysis analyse(const std::vector<fs::path>& files, const Request& request) {
  Stopwatch watch;
  watch.enter("intake");
  intake::IntakeOptions options;
  options.threads = request.threads;
  const auto taken = intake::take_in_all({files.begin(), files.end()}, options);
  Analysis analysis;
  std::vector<sync::TrackInput> tracks;
  std::vector<std::shared_ptr<const AnalysisSignal>> signals;
  for (const auto& file : taken) {
    if (!file) throw std::runtime_error(file.error().what);
    signals.push_back(intake::whole_signal(*file));
    const double length_s = static_cast<double>(file->length.n) / file->info.rate.hz;
    analysis.seconds_of_sound += length_s;
    tracks.push_back({file->file.stem().string(), signals.back().get(), length_s, file->info.lossy,
                      file->info.rate.hz});
  }
  const sync::MixInput mix{tracks.front().signal, tracks.front().length_s, tracks.front().lossy};
  tracks.erase(tracks.begin());
  sync::AlignOptions align;
  align.threads = request.threads;
  align.progress = [&](double, const char* stage) { watch.enter(stage); };
  auto alignment = sync::align(mix, tracks, align);
  if (!alignment) throw std::runtime_error(alignment.error().what);
  watch.leave();
  analysis.alignment = *std::move(alignment);
  analysis.stages = watch.stages();
  return analysis;
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
  const Cost decoding = decode_all(files, request);
  Analysis analysis = analyse(files, request);
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
