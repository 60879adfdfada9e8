// How far from the truth the estimator places tracks, on simulated sessions with exact truth.
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <chrono>
#include <cmath>
#include <exception>
#include <functional>
#include <mutex>
#include <optional>
#include <stdexcept>

#include "accuracy/cases.h"
#include "accuracy/page.h"
#include "kilter/base/parallel.h"
#include "kilter/sync/no_mix.h"

namespace kilter::accuracy {
namespace {

struct Settings {
  double minutes{5.0};
  int seeds{1};
  int first_seed{1};
  int trials{40};
  double clean_hours{0.0};
  int threads{available_threads()};
  std::vector<std::string> rows_only;
  std::string voices;
  bool no_rows{false};
  bool alone{false};
  bool verbose{false};
};

Result<sync::Alignment> aligned(const Session& session, const sync::AlignOptions& options) {
  if (session.order.has_mix) return sync::align(session.mix_input, session.inputs, options);
  auto placed = sync::place_without_mix(session.inputs, options);
  if (!placed) return placed.error();
  sync::Alignment alignment;
  alignment.tracks = std::move(placed->tracks);
  return alignment;
}

/// Aligns on one thread: whole sessions go beside each other, which uses the cores better.
Outcome try_session(const Session& session, bool joint) {
  const auto before = std::chrono::steady_clock::now();
  sync::AlignOptions options;
  options.threads = 1;
  options.joint = joint;
  const auto alignment = aligned(session, options);
  const double took_s =
      std::chrono::duration<double>(std::chrono::steady_clock::now() - before).count();
  if (!alignment) throw std::runtime_error(alignment.error().what);
  Outcome outcome = judge(session, *alignment);
  outcome.align_s = took_s;
  return outcome;
}

/// Does `count` pieces of work on all threads and hands over what came out in order, as soon as it
/// is there.
void in_order(int count, int threads, const std::function<std::vector<Outcome>(int)>& work,
              const std::function<void(int, const std::vector<Outcome>&)>& hand_over) {
  std::vector<std::optional<std::vector<Outcome>>> done(static_cast<std::size_t>(count));
  std::mutex mutex;
  int next = 0;
  parallel_for(count, threads, [&](int i) {
    std::vector<Outcome> outcomes = work(i);
    const std::lock_guard lock(mutex);
    done[static_cast<std::size_t>(i)] = std::move(outcomes);
    for (; next < count && done[static_cast<std::size_t>(next)]; ++next) {
      hand_over(next, *done[static_cast<std::size_t>(next)]);
      done[static_cast<std::size_t>(next)].reset();
    }
  });
}

void print_details(const Outcome& outcome) {
  for (const TrackOutcome& track : outcome.tracks) fmt::print("{}", track_line(track));
  for (const std::string& remark : outcome.seams.remarks) fmt::print("    {}\n", remark);
  for (const std::string& missed : outcome.codes.missed) fmt::print("    missed {}\n", missed);
  for (const std::string& wrong : outcome.codes.wrong) fmt::print("    false {}\n", wrong);
}

std::vector<const Case*> chosen(const Settings& settings) {
  const std::vector<std::string>& words = settings.rows_only;
  std::vector<const Case*> rows;
  for (const Case& c : cases()) {
    const bool named = std::ranges::any_of(
        words, [&c](const std::string& word) { return c.name.find(word) != std::string::npos; });
    if (named || (words.empty() && !c.on_request)) rows.push_back(&c);
  }
  return rows;
}

/// Prints a line for each case. Gives all tracks to `all`. Result: whether everything was kept.
bool run_rows(const Settings& settings, std::vector<TrackOutcome>& all) {
  const std::vector<const Case*> rows = chosen(settings);
  if (rows.empty() || settings.seeds <= 0) return true;
  fmt::print("{} session(s) of {} minutes a row, {} voices.\n\n{}", settings.seeds,
             settings.minutes, settings.voices.empty() ? "synthetic" : "real", heading());
  bool good = true;
  Row row;
  Row alone;
  const auto work = [&](int i) {
    const Case& c = *rows[static_cast<std::size_t>(i / settings.seeds)];
    const auto seed = static_cast<std::uint64_t>(settings.first_seed + i % settings.seeds);
    const Session session =
        make_session(c.make(seed, 60.0 * settings.minutes * c.stretch), settings.voices, 1);
    std::vector<Outcome> outcomes{try_session(session, true)};
    if (settings.alone) outcomes.push_back(try_session(session, false));
    return outcomes;
  };
  in_order(static_cast<int>(rows.size()) * settings.seeds, settings.threads, work,
           [&](int i, const std::vector<Outcome>& outcomes) {
             const Case& c = *rows[static_cast<std::size_t>(i / settings.seeds)];
             if (settings.verbose) print_details(outcomes[0]);
             row.add(outcomes[0]);
             if (settings.alone) alone.add(outcomes[1]);
             if ((i + 1) % settings.seeds != 0) return;
             fmt::print("{}", row.line(c.name, c.about, c.limit_us, c.firm));
             if (settings.alone)
               fmt::print("{}", alone.line("", "  every track alone", c.limit_us, c.firm));
             std::fflush(stdout);
             good = good && row.complaints(c.limit_us, c.firm).empty();
             all.insert(all.end(), row.tracks().begin(), row.tracks().end());
             row = {};
             alone = {};
           });
  fmt::print("\n{}\n", legend());
  return good;
}

/// Many short sessions by lot. One line; result: whether no firm placing was wrong.
bool run_trials(const Settings& settings, std::vector<TrackOutcome>& all) {
  if (settings.trials <= 0) return true;
  Row row;
  in_order(
      settings.trials, settings.threads,
      [&](int i) {
        const auto seed = static_cast<std::uint64_t>(100'000 + settings.first_seed + i);
        return std::vector{try_session(make_session(random_order(seed), settings.voices, 1), true)};
      },
      [&](int i, const std::vector<Outcome>& outcomes) {
        if (settings.verbose) {
          fmt::print("trial {}\n", 100'000 + settings.first_seed + i);
          print_details(outcomes[0]);
          std::fflush(stdout);
        }
        row.add(outcomes[0]);
      });
  int strangers = 0;
  int strangers_placed = 0;
  for (const TrackOutcome& track : row.tracks()) {
    strangers += track.foreign;
    strangers_placed += track.foreign && track.placed();
  }
  const SeamTally& seams = row.seams();
  fmt::print(
      "{} sessions by lot, {} tracks: {} firm, {} shaky, {} unplaced, {} wrong firm. Of {} tracks "
      "of other sessions {} were placed.\n  seams {}/{} found, {} false, {} wrong cause; findings "
      "{}/{}, {} false; voices {:.0f}/{:.0f} s, {:.0f} s false; errors {:.1f} us median, {:.1f} us "
      "99 %\n\n",
      settings.trials, row.tracks().size(), row.count(Standing::firm), row.count(Standing::shaky),
      row.count(Standing::unplaced), row.wrong_firm(), strangers, strangers_placed, seams.found,
      seams.due, seams.false_ones, seams.wrong_cause, row.codes().found, row.codes().due,
      row.codes().false_ones, row.voices().found_s, row.voices().due_s, row.voices().false_s,
      row.error_us(0.5), row.error_us(0.99));
  all.insert(all.end(), row.tracks().begin(), row.tracks().end());
  return row.wrong_firm() == 0;
}

/// Sessions without a fault. Result: whether nothing was reported of them.
bool run_clean(const Settings& settings) {
  if (settings.clean_hours <= 0.0) return true;
  constexpr double kLength_s = 900.0;
  const int count = static_cast<int>(std::ceil(3600.0 * settings.clean_hours / kLength_s));
  Row row;
  in_order(
      count, settings.threads,
      [&](int i) {
        const auto seed = static_cast<std::uint64_t>(200'000 + settings.first_seed + i);
        return std::vector{
            try_session(make_session(clean_order(seed, kLength_s), settings.voices, 1), true)};
      },
      [&](int, const std::vector<Outcome>& outcomes) {
        if (settings.verbose) print_details(outcomes[0]);
        row.add(outcomes[0]);
      });
  fmt::print(
      "{:.1f} hours of clean sessions, {} tracks: {} false seams, {:.1f} s of false missing "
      "voices, "
      "{} false findings, {} wrong firm; {} firm, {} shaky, {} unplaced\n",
      count * kLength_s / 3600.0, row.tracks().size(), row.seams().false_ones, row.voices().false_s,
      row.codes().false_ones, row.wrong_firm(), row.count(Standing::firm),
      row.count(Standing::shaky), row.count(Standing::unplaced));
  return row.seams().false_ones == 0 && row.wrong_firm() == 0 &&
         row.voices().false_s <= 6.0 * std::max(1.0, settings.clean_hours);
}

int run(const Settings& settings) {
  const auto before = std::chrono::steady_clock::now();
  std::vector<TrackOutcome> all;
  bool good = settings.no_rows || run_rows(settings, all);
  good = run_trials(settings, all) && good;
  good = run_clean(settings) && good;
  if (!all.empty()) {
    const auto wrong =
        std::count_if(all.begin(), all.end(), [](const auto& track) { return track.wrong_firm(); });
    fmt::print("{}\nwrong firm: {} of {} tracks\n", reliability_table(all), wrong, all.size());
  }
  fmt::print("took {:.0f} s on {} threads\n",
             std::chrono::duration<double>(std::chrono::steady_clock::now() - before).count(),
             settings.threads);
  return good ? 0 : 1;
}

}  // namespace
}  // namespace kilter::accuracy

int main(int argc, char** argv) {
  kilter::accuracy::Settings settings;
  CLI::App app{"Measures the estimator against simulated sessions whose truth is known exactly."};
  app.add_option("--minutes", settings.minutes, "length of most sessions [5]");
  app.add_option("--seeds", settings.seeds, "sessions a row [1]");
  app.add_option("--first-seed", settings.first_seed, "first seed [1]");
  app.add_option("--voices", settings.voices,
                 "folder of speech, one folder per speaker [built-in synthetic voices]");
  app.add_option("--rows-only", settings.rows_only,
                 "rows whose name holds one of these words [all but the long one]");
  app.add_flag("--no-rows", settings.no_rows, "trials and clean hours only");
  app.add_option("--trials", settings.trials, "short sessions of random faults [40]");
  app.add_option("--clean-hours", settings.clean_hours,
                 "hours of sessions without any fault, for false alarms [0]");
  app.add_flag("--alone", settings.alone,
               "each row again without the joint step; doubles the time");
  app.add_option("--threads", settings.threads, "sessions at the same time [all cores]");
  app.add_flag("--verbose", settings.verbose, "a line per track");
  CLI11_PARSE(app, argc, argv);
  try {
    return kilter::accuracy::run(settings);
  } catch (const std::exception& failure) {
    fmt::print(stderr, "kilter-accuracy: {}\n", failure.what());
    return 70;
  }
}
