// Where a hostile session is set up, what is true of it, and what holds of every run over it.
#pragma once

#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "simulator/simulator.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::test {

/// Timeline second at which a second of a track is heard.
using TrueLine = std::function<double(double track_s)>;

class Stage {
 public:
  Stage();

  const std::filesystem::path& root() const { return root_.path(); }
  std::filesystem::path operator/(const std::string& name) const { return root_ / name; }
  /// The session: the only folder below `shows`.
  std::filesystem::path show() const { return root_ / "shows" / "hour"; }

  /// Puts a sound session of 40 s there: "mixdown.wav", two people in a room and a guest.
  void talk();
  /// Its recordings, in order, the guest last.
  const simulator::Session& talked() const;
  /// Puts a recording of the talk there once more, as `file`; the truth knows it by `name`.
  void talk_as(std::size_t track, const std::string& file, const std::string& name);
  void sound(const std::string& file, const Samples& samples, int rate_hz = kRate_hz) const;
  void text(const std::string& file, const std::string& text) const;

  /// A track that may be firm, if it is where it belongs. All others must never be.
  void belongs(const std::string& name, TrueLine line) { true_[name] = std::move(line); }
  const std::map<std::string, TrueLine>& truth() const { return true_; }

  static constexpr int kRate_hz = 16000;

 private:
  TemporaryFolder root_;
  std::map<std::string, TrueLine> true_;
};

/// A session of 40 s, 2 people in a room and a guest, all at 16 kHz.
simulator::Session talk_of(std::uint64_t seed);

struct HostileRun {
  std::vector<std::string> args;  ///< below Stage::root()
  std::vector<int> exits;         ///< any of them
  std::string says;               ///< on either stream
};

struct HostileCase {
  const char* name;
  std::function<void(Stage&)> make;
  std::vector<HostileRun> runs;  ///< one after the other; what is written is named "out.."
  bool as_nobody{false};
};

/// Does the runs and prints a row for each. Expects of all of them: no crash, no hang, less than
/// 300 MB, one of the exits, the words; nothing told or written that steers a terminal; no firm
/// track that is elsewhere than it belongs; nothing outside of "out.." changed, no temporary file
/// left, and no "out.." at all of a run that failed.
void play(const HostileCase& hostile);

// The usual command lines.
HostileRun survey(std::vector<int> exits, std::string says);
HostileRun align(std::vector<int> exits, std::string says);
HostileRun conform(std::vector<int> exits, std::string says);
HostileRun check(std::vector<int> exits, std::string says);
HostileRun batch(std::vector<int> exits, std::string says);

void PrintTo(const HostileCase& hostile, std::ostream* out);

}  // namespace kilter::test

/// A table of cases whose rows are tests: Hostile/SUITE.STATEMENT/ROW.
#define KILTER_HOSTILE_TABLE(suite, statement, cases)                          \
  class suite : public testing::TestWithParam<::kilter::test::HostileCase> {}; \
  TEST_P(suite, statement) { ::kilter::test::play(GetParam()); }               \
  INSTANTIATE_TEST_SUITE_P(Hostile, suite, testing::ValuesIn(cases),           \
                           [](const auto& each) { return std::string(each.param.name); })
