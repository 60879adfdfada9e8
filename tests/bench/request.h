// Which simulated session a benchmark works on, as the command line says.
#pragma once

#include <CLI/CLI.hpp>
#include <cstdint>
#include <string>

namespace kilter::bench {

struct Request {
  double minutes{20.0};
  int room{4};
  int remote{2};
  std::uint64_t seed{1};
  int threads{2};
  int rounds{3};
};

/// `repeated`: what the rounds are of. The caller keeps `request` until `app` has parsed.
inline void add_options(CLI::App& app, Request& request, const std::string& repeated) {
  app.add_option("--minutes", request.minutes, "length of the mix [20]")
      ->check(CLI::PositiveNumber);
  app.add_option("--room", request.room, "people in the room [4]")->check(CLI::Range(1, 16));
  app.add_option("--remote", request.remote, "guests [2]")->check(CLI::Range(0, 16));
  app.add_option("--seed", request.seed, "every seed is another session [1]");
  app.add_option("--threads", request.threads, "[2]")->check(CLI::Range(1, 64));
  app.add_option("--rounds", request.rounds, "of " + repeated + "; the best counts [3]")
      ->check(CLI::Range(1, 100));
}

}  // namespace kilter::bench
