// How far from the truth the estimator places tracks, on simulated sessions with exact truth.
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <chrono>
#include <cmath>
#include <exception>
#include <memory>
#include <stdexcept>

#include "accuracy/cases.h"
#include "kilter/base/parallel.h"
#include "kilter/sync/align.h"
#include "simulator/folder_voices.h"
#include "support/reduce.h"

namespace kilter::accuracy {
namespace {

struct Settings {
  double minutes{8.0};
  int seeds{2};
  int first_seed{1};
  int wrong_pairs{100};
  int threads{available_threads()};
  std::string only;
  std::string voices;
  bool verbose{false};

  std::unique_ptr<simulator::VoiceSource> make_voices(int seed) const;
};

constexpr int kMostPeople = 6;

std::unique_ptr<simulator::VoiceSource> Settings::make_voices(int seed) const {
  if (voices.empty())
    return std::make_unique<simulator::SyntheticVoices>(static_cast<std::uint64_t>(seed));
  auto opened =
      simulator::FolderVoices::open(voices, static_cast<std::uint64_t>(seed), kMostPeople);
  if (!opened) throw std::runtime_error(opened.error().what);
  return *std::move(opened);
}

struct Measured {
  std::vector<double> errors_us;  // largest of each track
  std::vector<double> room_us;
  std::vector<double> remote_us;
  std::vector<double> drift_errors_ppm;
  int firm{0};
  int inside{0};  // errors within the stated uncertainty
  int tracks{0};
  int wrong_firm{0};  // firm and more than 1 ms off
  double worst_stated_us{0.0};
  double seconds{0.0};
};

struct Session {
  simulator::Session sound;
  std::unique_ptr<MemorySignal> mix;
  std::vector<std::unique_ptr<MemorySignal>> signals;
  std::vector<sync::TrackInput> inputs;
  sync::MixInput mix_input;
};

bool lossy(const simulator::Coding& coding) { return coding.codec != simulator::Codec::none; }

Session make_session(const simulator::SessionSpec& spec, const simulator::VoiceSource& voices,
                     int threads) {
  auto made = simulator::simulate(spec, voices, threads);
  if (!made) throw std::runtime_error(made.error().what);
  Session session;
  session.sound = *std::move(made);
  session.mix = test::reduce(session.sound.mix, session.sound.mix_rate_hz);
  session.mix_input = {session.mix.get(),
                       static_cast<double>(session.sound.mix.size()) / session.sound.mix_rate_hz,
                       lossy(session.sound.mix_coding)};
  for (auto& track : session.sound.tracks) {
    session.signals.push_back(test::reduce(track.samples, track.clock.rate_hz));
    session.inputs.push_back({track.name, session.signals.back().get(),
                              static_cast<double>(track.samples.size()) / track.clock.rate_hz,
                              lossy(track.stored)});
    std::vector<float>().swap(track.samples);
  }
  std::vector<float>().swap(session.sound.mix);
  return session;
}

void measure(const Session& session, const Settings& settings, bool joint, Measured& sum) {
  const auto before = std::chrono::steady_clock::now();
  sync::AlignOptions options;
  options.threads = settings.threads;
  options.joint = joint;
  const auto placings = sync::align(session.mix_input, session.inputs, options);
  sum.seconds += std::chrono::duration<double>(std::chrono::steady_clock::now() - before).count();
  if (!placings) throw std::runtime_error(placings.error().what);
  for (std::size_t k = 0; k < placings->tracks.size(); ++k) {
    const sync::TrackPlacing& placing = placings->tracks[k];
    const auto& track = session.sound.tracks[k];
    ++sum.tracks;
    double worst_us = INFINITY;
    double drift_error_ppm = INFINITY;
    double offset_us = INFINITY;
    if (placing.map) {
      worst_us = 0.0;
      const double length_s = session.inputs[k].length_s;
      for (int i = 0; i <= 100; ++i) {
        const double track_s = std::min(length_s * i / 100.0, placing.map->spans().back().to_s);
        const double error_us =
            1e6 * (placing.map->to_line(track_s).value() - session.sound.line_of(k, track_s));
        worst_us = std::max(worst_us, std::abs(error_us));
        if (i == 50) offset_us = error_us;
      }
      const double true_drift_ppm =
          1e6 *
          (length_s / (session.sound.line_of(k, length_s) - session.sound.line_of(k, 0.0)) - 1.0);
      drift_error_ppm = placing.map->drift_ppm() - true_drift_ppm;
    }
    sum.errors_us.push_back(worst_us);
    (track.remote ? sum.remote_us : sum.room_us).push_back(worst_us);
    sum.drift_errors_ppm.push_back(std::abs(drift_error_ppm));
    sum.firm += placing.standing == Standing::firm;
    sum.inside += worst_us <= placing.uncertainty_us;
    sum.wrong_firm += placing.standing == Standing::firm && worst_us > 1000.0;
    sum.worst_stated_us = std::max(sum.worst_stated_us, placing.uncertainty_us);
    if (settings.verbose)
      fmt::print(
          "    {:<12} {:<8} worst {:>9.2f} us  middle {:>+9.2f} us  drift {:>+8.4f} ppm  stated "
          "{:>7.2f} us  "
          "used {:>3}/{:<3} recorder {} match {:.1f} evidence {:.0f} inverted {}\n",
          track.name, to_text(placing.standing), worst_us, offset_us, drift_error_ppm,
          placing.uncertainty_us, placing.windows_used, placing.windows_measured, placing.recorder,
          placing.match_sigma, placing.evidence_sigma, placing.inverted);
  }
}

double quantile(std::vector<double> values, double q) {
  if (values.empty()) return 0.0;
  std::sort(values.begin(), values.end());
  const auto at = static_cast<std::size_t>(std::ceil(q * static_cast<double>(values.size())) - 1.0);
  return values[std::min(at, values.size() - 1)];
}

std::string figure(double value) {
  return std::isinf(value) ? std::string("lost") : fmt::format("{:.2f}", value);
}

/// Every track of every session against every other session's mix: none of them belongs there.
bool measure_wrong_pairs(const Settings& settings) {
  constexpr int kTracks = 4;
  int sessions_needed = 2;
  while (sessions_needed * (sessions_needed - 1) * kTracks < settings.wrong_pairs)
    ++sessions_needed;
  std::vector<Session> sessions;
  for (int i = 0; i < sessions_needed; ++i) {
    const int seed = 1000 + settings.first_seed + i;
    auto spec =
        simulator::hybrid_session(static_cast<std::uint64_t>(seed), 60.0 * settings.minutes, 2, 2);
    sessions.push_back(make_session(spec, *settings.make_voices(seed), settings.threads));
  }
  int pairs = 0;
  int standings[3] = {};
  double best_match = 0.0;
  sync::AlignOptions options;
  options.threads = settings.threads;
  for (const Session& mix : sessions)
    for (const Session& others : sessions) {
      if (&mix == &others) continue;
      // Strangers together with the session's own tracks, as they would lie in a folder.
      std::vector<sync::TrackInput> inputs = mix.inputs;
      inputs.insert(inputs.end(), others.inputs.begin(), others.inputs.end());
      const auto placings = sync::align(mix.mix_input, inputs, options);
      if (!placings) throw std::runtime_error(placings.error().what);
      for (std::size_t k = mix.inputs.size(); k < inputs.size(); ++k) {
        const auto& placing = placings->tracks[k];
        ++pairs;
        ++standings[static_cast<int>(placing.standing)];
        best_match = std::max(best_match, placing.match_sigma);
        if (settings.verbose && placing.standing != Standing::unplaced)
          fmt::print("    {:<12} {:<8} match {:.1f} evidence {:.0f} used {}/{} stated {:.1f} us\n",
                     inputs[k].name, to_text(placing.standing), placing.match_sigma,
                     placing.evidence_sigma, placing.windows_used, placing.windows_measured,
                     placing.uncertainty_us);
      }
    }
  fmt::print(
      "tracks of another session: {} tried, {} unplaced, {} shaky, {} firm; strongest match {:.1f} "
      "sigma\n",
      pairs, standings[static_cast<int>(Standing::unplaced)],
      standings[static_cast<int>(Standing::shaky)], standings[static_cast<int>(Standing::firm)],
      best_match);
  return standings[static_cast<int>(Standing::unplaced)] == pairs;
}

std::string ppm_figure(double value) {
  return std::isinf(value) ? std::string("lost") : fmt::format("{:.4f}", value);
}

/// One row: the joint method, and beside it the same sessions with every track placed alone.
void print_row(const Case& c, const Measured& joint, const Measured& alone, bool kept) {
  fmt::print(
      "{:<57} {:>3} {:>4}  {:>6} {:>6} {:>6} {:>7} {:>7} {:>5.0f} {:>5.0f} {:<2} {:>4} {:>5} "
      "{:>8}\n",
      c.about, joint.tracks, joint.firm, figure(quantile(joint.errors_us, 0.5)),
      figure(quantile(joint.room_us, 1.0)), figure(quantile(joint.remote_us, 1.0)),
      ppm_figure(quantile(joint.drift_errors_ppm, 1.0)), figure(joint.worst_stated_us),
      100.0 * joint.inside / std::max(joint.tracks, 1), c.limit_us, kept ? "" : "!", alone.firm,
      alone.wrong_firm, figure(quantile(alone.errors_us, 1.0)));
  std::fflush(stdout);
}

int run(const Settings& settings) {
  fmt::print(
      "{} sessions of {} minutes a row, {} voices. Errors: the largest of each track, anywhere in "
      "it.\n\n",
      settings.seeds, settings.minutes, settings.voices.empty() ? "synthetic" : "real");
  fmt::print("{:<57} {:^61}   {:^20}\n", "", "all tracks together", "every track alone");
  fmt::print(
      "{:<57} {:>3} {:>4}  {:>6} {:>6} {:>6} {:>7} {:>7} {:>5} {:>5} {:<2} {:>4} {:>5} {:>8}\n",
      "session", "of", "firm", "median", "room", "remote", "drift", "stated", "held", "limit", "",
      "firm", "wrong", "max");
  fmt::print(
      "{:<57} {:>3} {:>4}  {:>6} {:>6} {:>6} {:>7} {:>7} {:>5} {:>5} {:<2} {:>4} {:>5} {:>8}\n", "",
      "", "", "us", "max us", "max us", "max ppm", "max us", "%", "us", "", "", "firm", "us");
  bool good = true;
  double seconds = 0.0;
  double track_hours = 0.0;
  for (const Case& c : cases()) {
    if (!settings.only.empty() && settings.only != c.name) continue;
    Measured joint;
    Measured alone;
    for (int i = 0; i < settings.seeds; ++i) {
      const auto seed = static_cast<std::uint64_t>(settings.first_seed + i);
      const auto voices = settings.make_voices(settings.first_seed + i);
      const Session session =
          make_session(c.make(seed, 60.0 * settings.minutes), *voices, settings.threads);
      measure(session, settings, true, joint);
      measure(session, settings, false, alone);
      for (const auto& input : session.inputs) track_hours += input.length_s / 3600.0;
    }
    seconds += joint.seconds;
    const bool kept = quantile(joint.errors_us, 1.0) <= c.limit_us && joint.firm == joint.tracks;
    good = good && kept;
    print_row(c, joint, alone, kept);
  }
  fmt::print(
      "\nheld: errors within the stated uncertainty. wrong firm: stands as firm, more than 1 ms "
      "off.\n"
      "! beyond the limit, or not firm. Aligning took {:.1f} s a track-hour, reading the files not "
      "counted.\n",
      seconds / std::max(track_hours, 1e-9));
  if (settings.wrong_pairs > 0) good = measure_wrong_pairs(settings) && good;
  return good ? 0 : 1;
}

}  // namespace
}  // namespace kilter::accuracy

int main(int argc, char** argv) {
  kilter::accuracy::Settings settings;
  CLI::App app{"Measures the estimator against simulated sessions whose truth is known exactly."};
  app.add_option("--minutes", settings.minutes, "length of each session [8]");
  app.add_option("--seeds", settings.seeds, "sessions a row [2]");
  app.add_option("--first-seed", settings.first_seed, "first seed [1]");
  app.add_option("--voices", settings.voices,
                 "folder of speech, one folder per speaker [built-in synthetic voices]");
  app.add_option("--wrong-pairs", settings.wrong_pairs,
                 "at least so many tracks of other sessions tried as well [100]");
  app.add_option("--only", settings.only, "one row by its name");
  app.add_option("--threads", settings.threads, "threads [all cores]");
  app.add_flag("--verbose", settings.verbose, "a line per track");
  CLI11_PARSE(app, argc, argv);
  try {
    return kilter::accuracy::run(settings);
  } catch (const std::exception& failure) {
    fmt::print(stderr, "kilter-accuracy: {}\n", failure.what());
    return 70;
  }
}
