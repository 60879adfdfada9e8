// A show of half a second with its lineup, for tests that run a command hundreds of times.
#pragma once

#include <filesystem>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "kilter/edits/lineup_file.h"
#include "run_kilter.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::test {

/// Every file below a folder with what is in it; hidden ones, too.
using Tree = std::set<std::pair<std::string, std::string>>;

inline Tree tree_of(const std::filesystem::path& folder) {
  Tree tree;
  if (!std::filesystem::exists(folder)) return tree;
  for (const auto& entry : std::filesystem::recursive_directory_iterator(folder))
    tree.insert({std::filesystem::relative(entry.path(), folder).string(),
                 entry.is_directory() ? "" : read_text(entry.path())});
  return tree;
}

inline std::set<std::string> names_below(const std::filesystem::path& folder) {
  std::set<std::string> names;
  for (const auto& [name, text] : tree_of(folder)) names.insert(name);
  return names;
}

class SmallShow {
 public:
  SmallShow() {
    constexpr int kRate_hz = 8000;
    constexpr std::int64_t kFrames = 4000;
    std::filesystem::create_directory(home_ / "show");
    Lineup lineup;
    lineup.session = "hour";
    lineup.timeline_rate_hz = kRate_hz;
    lineup.to_s = 0.5;
    lineup.mix = LineupMix{"mixdown.wav", kRate_hz, kFrames, {{0.0, 0.5, 0.0, 0.5, 0.0}}, {}};
    for (const std::string name : {"keeper", "mate", "mixdown"}) {
      write_sound(home_ / "show" / (name + ".wav"), {noise(kFrames, 0.5F, 1)}, kRate_hz);
      if (name == "mixdown") continue;
      LineupTrack track;
      track.name = name;
      track.parts = {{name + ".wav", 1, kFrames}};
      track.rate_hz = kRate_hz;
      track.standing = Standing::firm;
      track.map = *TimeMap::line(0.01, 20.0, 0.5, 1.0);
      lineup.tracks.push_back(track);
    }
    (void)edits::write_lineup(lineup, home_ / "hour.lineup.json");
  }

  std::filesystem::path session() const { return home_ / "show"; }
  /// Where results go, and what stands beside them while they are made.
  std::filesystem::path work() const { return home_ / "work"; }
  std::filesystem::path out() const { return work() / "done"; }
  std::vector<std::string> conform_args(const std::vector<std::string>& more) const {
    std::vector<std::string> args{
        "conform", session().string(), "--lineup",  (home_ / "hour.lineup.json").string(),
        "--out",   out().string(),     "--threads", "1"};
    args.insert(args.end(), more.begin(), more.end());
    return args;
  }

 private:
  TemporaryFolder home_;
};

}  // namespace kilter::test
