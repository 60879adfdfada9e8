// Stems against the truth: whole runs of `kilter conform` over simulated sessions, one for each
// kind of fault, and every stem compared with its own recording read where the truth says. What is
// measured is the delay between two copies of one sound; the estimator has no part in it.
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <atomic>
#include <cmath>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <optional>
#include <sstream>
#include <stdexcept>
#include <utility>

#include "accuracy/cases.h"
#include "kilter/base/parallel.h"
#include "kilter/commands/run.h"
#include "kilter/edits/lineup_file.h"
#include "media/read_whole.h"
#include "reference/resample_reference.h"
#include "simulator/session_files.h"
#include "simulator/sound_delay.h"
#include "support/temporary_folder.h"

namespace kilter::accuracy {
namespace {

namespace fs = std::filesystem;

constexpr double kLimit_us = 50.0;
constexpr double kPiece_s = 0.1;
constexpr double kAwayFromSeams_s = 1.0;
constexpr double kSpeech = 0.005;  // root mean square
constexpr int kMostPieces = 12;    // of a track: the reference works on every tap

struct Settings {
  double minutes{3.0};
  int seeds{1};
  int first_seed{1};
  std::vector<std::string> rows_only;
  int threads{available_threads()};
};

struct Conformed {
  Lineup lineup;
  double from_s{0.0};
  double rate_hz{0.0};
  nlohmann::json stems;
};

Conformed conform(const fs::path& folder) {
  std::ostringstream out;
  std::ostringstream err;
  const std::atomic<bool> stop{false};
  const std::vector<std::string> args{"conform", (folder / "show").string(),
                                      "--out",   (folder / "done").string(),
                                      "--bits",  "32f",
                                      "--json",  "--threads",
                                      "1",       "--quiet"};
  const int exit = commands::run(args, out, err, false, stop);
  if (exit > 1) throw std::runtime_error("conform ended with " + std::to_string(exit) + err.str());
  const auto lineup = edits::read_lineup(folder / "done" / "lineup.json");
  if (!lineup) throw std::runtime_error(lineup.error().what);
  const auto told = nlohmann::json::parse(out.str());
  return {*lineup, told["from_s"], told["rate"], told["stems"]};
}

/// The only channel of a stem.
std::vector<float> sound_of(const fs::path& file) {
  auto whole = media::read_whole(file);
  if (!whole) throw std::runtime_error(file.string() + ": " + whole.error().what);
  if (whole->failure) throw std::runtime_error(file.string() + ": " + whole->failure->what);
  return std::move(whole->channels.front());
}

bool is_near_a_seam(const simulator::SimulatedTrack& track, double track_s) {
  return std::any_of(track.seams.begin(), track.seams.end(), [&](const auto& seam) {
    return track_s > seam.track_from_s - kAwayFromSeams_s &&
           track_s < seam.track_to_s + kAwayFromSeams_s + kPiece_s;
  });
}

/// The second of the file that is heard at a moment, near `track_s` and with no seam between.
double track_time_of(const simulator::SimulatedTrack& track, double line_s, double track_s) {
  constexpr double kStep_s = 0.01;
  const double rate = (track.line_of(track_s + kStep_s) - track.line_of(track_s)) / kStep_s;
  for (int i = 0; i < 4; ++i) track_s += (line_s - track.line_of(track_s)) / rate;
  return track_s;
}

double root_mean_square(std::span<const float> sound) {
  double sum = 0.0;
  for (const float sample : sound) sum += static_cast<double>(sample) * sample;
  return std::sqrt(sum / static_cast<double>(sound.size()));
}

/// How late the stem holds what the recording has from `track_s` on; nothing where nobody speaks or
/// the stem does not reach.
std::optional<double> late_us(const simulator::SimulatedTrack& track, double track_s,
                              std::span<const float> stem, const Conformed& conformed) {
  const double rate_hz = conformed.rate_hz;
  const auto first =
      static_cast<std::int64_t>(std::ceil((track.line_of(track_s) - conformed.from_s) * rate_hz));
  const auto count = static_cast<std::int64_t>(kPiece_s * rate_hz);
  if (first < 0 || first + count > std::ssize(stem)) return std::nullopt;
  const auto frames_at = [&](std::int64_t n) {
    const double line_s = conformed.from_s + static_cast<double>(first + n) / rate_hz;
    return track_time_of(track, line_s, track_s) * track.clock.file_rate_hz();
  };
  const double stretch =
      std::max(1.0, (frames_at(count) - frames_at(0)) / static_cast<double>(count));
  std::vector<float> expected;
  for (std::int64_t n = 0; n < count; ++n)
    expected.push_back(
        static_cast<float>(reference::value_at(track.samples, frames_at(n), stretch)));
  if (root_mean_square(expected) < kSpeech) return std::nullopt;
  if (track.inverted)
    for (float& sample : expected) sample = -sample;
  const auto piece = stem.subspan(static_cast<std::size_t>(first), static_cast<std::size_t>(count));
  return 1e6 * simulator::mean_delay_s(expected, piece, rate_hz);
}

struct Tally {
  int tracks{0};
  int firm{0};
  int pieces{0};
  double worst_us{0.0};  ///< of firm tracks
  std::string worst_at;
};

void measure_track(const simulator::SimulatedTrack& truth, const LineupTrack& track,
                   const fs::path& file, const Conformed& conformed, std::uint64_t seed,
                   Tally& tally) {
  const std::vector<float> stem = sound_of(file);
  ++tally.tracks;
  if (track.standing != Standing::firm) return;
  ++tally.firm;
  int measured = 0;
  const int places = 8 * kMostPieces;  // most of them are pauses
  for (int i = 0; i < places && measured < kMostPieces; ++i) {
    // Spread over the whole by stepping with a stride that shares no factor with the count.
    const int place = i * 37 % places;
    const double track_s = truth.length_s() * (place + 0.5) / places;
    if (is_near_a_seam(truth, track_s)) continue;
    const auto late = late_us(truth, track_s, stem, conformed);
    if (!late) continue;
    ++measured;
    if (std::abs(*late) <= tally.worst_us) continue;
    tally.worst_us = std::abs(*late);
    tally.worst_at = fmt::format("{} at {:.1f} s, seed {}", track.name, track_s, seed);
  }
  tally.pieces += measured;
}

void measure(const Order& order, std::uint64_t seed, Tally& tally) {
  const test::TemporaryFolder folder;
  const auto session =
      simulator::simulate(order.spec, simulator::SyntheticVoices(order.spec.seed), 1);
  if (!session) throw std::runtime_error(session.error().what);
  if (auto written = simulator::write_session(*session, folder / "show", {}); !written)
    throw std::runtime_error(written.error().what);
  const Conformed conformed = conform(folder.path());
  for (std::size_t i = 0; i < conformed.lineup.tracks.size(); ++i) {
    const LineupTrack& track = conformed.lineup.tracks[i];
    const auto truth = std::find_if(session->tracks.begin(), session->tracks.end(),
                                    [&](const auto& each) { return each.name == track.name; });
    const nlohmann::json& stem = conformed.stems[i]["file"];
    if (truth != session->tracks.end() && stem.is_string())
      measure_track(*truth, track, folder / "done" / stem.get<std::string>(), conformed, seed,
                    tally);
  }
}

bool is_asked_for(const Case& each, const Settings& settings) {
  if (settings.rows_only.empty()) return each.limit_us > 0.0 && !each.on_request;
  return std::any_of(
      settings.rows_only.begin(), settings.rows_only.end(),
      [&](const std::string& word) { return each.name.find(word) != std::string::npos; });
}

int run(const Settings& settings) {
  std::vector<const Case*> rows;
  for (const Case& each : cases())
    if (is_asked_for(each, settings)) rows.push_back(&each);
  std::vector<Tally> tallies(rows.size());
  parallel_for(static_cast<int>(rows.size()), settings.threads, [&](int i) {
    const Case& row = *rows[static_cast<std::size_t>(i)];
    for (int k = 0; k < settings.seeds; ++k) {
      const auto seed = static_cast<std::uint64_t>(settings.first_seed + k);
      try {
        measure(row.make(seed, 60.0 * settings.minutes * row.stretch), seed,
                tallies[static_cast<std::size_t>(i)]);
      } catch (const std::exception& failure) {
        throw std::runtime_error(fmt::format("{}, seed {}: {}", row.name, seed, failure.what()));
      }
    }
  });
  fmt::print("Stems of firm tracks against the truth, away from seams; limit {} us\n\n", kLimit_us);
  fmt::print("{:<34} {:>7} {:>5} {:>7} {:>10}\n", "", "stems", "firm", "pieces", "worst, us");
  bool good = true;
  for (std::size_t i = 0; i < rows.size(); ++i) {
    const Tally& tally = tallies[i];
    // Splices of a stream's staircase leave nothing to tell the place by better than half of one.
    const double limit_us = std::max(kLimit_us, rows[i]->limit_us);
    const bool measured = tally.pieces > 0;
    const bool kept = tally.worst_us <= limit_us;
    good = good && measured && kept;
    fmt::print("{:<34} {:>7} {:>5} {:>7} {:>10}{}\n", rows[i]->about, tally.tracks, tally.firm,
               tally.pieces, measured ? fmt::format("{:.2f}", tally.worst_us) : "-",
               !measured ? "  nothing firm to measure"
               : kept    ? ""
                         : "  beyond: " + tally.worst_at);
  }
  return good ? 0 : 1;
}

}  // namespace
}  // namespace kilter::accuracy

int main(int argc, char** argv) {
  kilter::accuracy::Settings settings;
  CLI::App app{"Measures finished stems against the truth of simulated sessions."};
  app.add_option("--minutes", settings.minutes, "length of most sessions [3]");
  app.add_option("--seeds", settings.seeds, "sessions a row [1]");
  app.add_option("--first-seed", settings.first_seed, "first seed [1]");
  app.add_option("--rows-only", settings.rows_only,
                 "rows whose name holds one of these words [all that promise a limit]");
  app.add_option("--threads", settings.threads, "sessions at the same time [all cores]");
  CLI11_PARSE(app, argc, argv);
  try {
    return kilter::accuracy::run(settings);
  } catch (const std::exception& failure) {
    fmt::print(stderr, "kilter-stem-truth: {}\n", failure.what());
    return 70;
  }
}
