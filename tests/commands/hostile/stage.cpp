#include "stage.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <nlohmann/json.hpp>
#include <set>
#include <sstream>

#include "kilter/base/utf8.h"
#include "program.h"
#include "simulator/session_files.h"

namespace kilter::test {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::json;

#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
constexpr bool kMemoryIsTrue = false;  // which need several times as much
constexpr double kMost_s = 300.0;
#else
constexpr bool kMemoryIsTrue = true;
constexpr double kMost_s = 60.0;
#endif
constexpr long kMost_mb = 300;
constexpr double kMostWrong_s = 0.001;

bool is_result(const fs::path& relative) { return relative.begin()->string().starts_with("out"); }

/// Everything that is no result, with what tells whether it was touched.
std::set<std::string> untouched(const fs::path& root) {
  std::set<std::string> all;
  for (const auto& entry : fs::recursive_directory_iterator(root)) {
    const fs::path relative = entry.path().lexically_relative(root);
    if (is_result(relative)) continue;
    std::ostringstream row;
    const auto status = entry.symlink_status();
    row << relative.string() << '|' << static_cast<int>(status.type()) << '|'
        << static_cast<unsigned>(status.permissions());
    if (fs::is_regular_file(status))
      row << '|' << entry.file_size() << '|' << entry.last_write_time().time_since_epoch().count();
    all.insert(row.str());
  }
  return all;
}

std::set<std::string> results(const fs::path& root) {
  std::set<std::string> all;
  for (const auto& entry : fs::recursive_directory_iterator(root))
    if (is_result(entry.path().lexically_relative(root))) all.insert(entry.path().string());
  return all;
}

/// Letters that steer a terminal, or turn the direction of writing; or no text at all.
bool steers(std::string_view text, bool is_page = false) {
  while (!text.empty()) {
    const Utf8Letter letter = first_letter(text);
    // A page holds each name's direction in.
    const bool is_held_in = is_page && letter.code >= 0x2028;
    const bool is_space = letter.code == '\n' || letter.code == '\t' || letter.code == '\r';
    if (!letter.valid || (is_control(letter.code) && !is_space && !is_held_in)) return true;
    text.remove_prefix(letter.bytes);
  }
  return false;
}

/// The line that holds the words; else the sum of all rows; else the first that says something.
std::string line_with(const std::string& words, const ProgramRun& run) {
  std::istringstream lines(run.err + '\n' + run.out);
  std::string first;
  for (std::string line; std::getline(lines, line);) {
    if (!words.empty() && line.find(words) != std::string::npos) return line;
    if (words.empty() && line.find(" firm, ") != std::string::npos) return line;
    if (first.empty()) first = line;
  }
  return first;
}

void print_row(const HostileCase& hostile, const HostileRun& wanted, const ProgramRun& run) {
  constexpr std::size_t kMost = 110;
  std::string line = line_with(wanted.says, run);
  line.erase(0, std::min(line.find_first_not_of(' '), line.size()));
  if (line.size() > kMost) line = line.substr(0, kMost) + "..";
  std::printf("  %-34s %-8s exit %3d %5.1f s %4ld MB  %s\n", hostile.name,
              wanted.args.front().c_str(), run.exit, run.seconds, run.peak_mb, line.c_str());
  std::fflush(stdout);
}

void expect_well_told(const HostileRun& wanted, const ProgramRun& run, const std::string& where) {
  EXPECT_FALSE(run.timed_out) << where;
  EXPECT_EQ(run.signal, 0) << where;
  EXPECT_TRUE(std::count(wanted.exits.begin(), wanted.exits.end(), run.exit) == 1)
      << where << "exit " << run.exit << '\n'
      << run.err << run.out;
  if (kMemoryIsTrue) {
    EXPECT_LT(run.peak_mb, kMost_mb) << where;
  }
  EXPECT_TRUE((run.out + run.err).find(wanted.says) != std::string::npos)
      << where << run.err << run.out;
  EXPECT_FALSE(steers(run.out)) << where << run.out;
  EXPECT_FALSE(steers(run.err)) << where << run.err;
  if (run.exit > 1) {
    EXPECT_EQ(run.out, "") << where;
    EXPECT_TRUE(run.err.starts_with("kilter: ")) << where << run.err;
  }
}

/// No firm track of the lineup is elsewhere than it belongs. How many are firm.
int expect_no_false_firm(const Stage& stage, const Json& lineup, const std::string& where) {
  int firm = 0;
  for (const Json& track : lineup.at("tracks")) {
    if (track.at("standing") != "firm") continue;
    ++firm;
    const std::string name = track.at("name");
    const auto found = stage.truth().find(name);
    if (found == stage.truth().end()) {
      ADD_FAILURE() << where << name << " is firm and belongs nowhere";
      continue;
    }
    for (const Json& span : track.at("spans")) {
      EXPECT_NEAR(span.at("line_from_s").get<double>(), found->second(span.at("from_s")),
                  kMostWrong_s)
          << where << name;
      EXPECT_NEAR(span.at("line_to_s").get<double>(), found->second(span.at("to_s")), kMostWrong_s)
          << where << name;
    }
  }
  return firm;
}

void expect_sound_results(const Stage& stage, const std::string& where) {
  for (const auto& entry : fs::recursive_directory_iterator(stage.root())) {
    const fs::path relative = entry.path().lexically_relative(stage.root());
    if (!is_result(relative) || !entry.is_regular_file()) continue;
    const std::string ending = relative.extension().string();
    EXPECT_EQ(relative.string().find(".part"), std::string::npos) << where << relative;
    if (ending == ".wav") continue;
    const std::string text = read_text(entry.path());
    EXPECT_FALSE(steers(text, ending == ".html")) << where << relative;
    if (ending != ".json") continue;
    const Json document = Json::parse(text, nullptr, false);
    ASSERT_FALSE(document.is_discarded()) << where << relative;
    if (document.contains("tracks")) expect_no_false_firm(stage, document, where);
  }
}

}  // namespace

simulator::Session talk_of(std::uint64_t seed) {
  auto spec = simulator::hybrid_session(seed, 40.0, 2, 1);
  spec.mix.rate_hz = Stage::kRate_hz;
  for (auto& recorder : spec.recorders) recorder.rate_hz = Stage::kRate_hz;
  auto made = simulator::simulate(spec, simulator::SyntheticVoices(seed), 2);
  if (!made) throw std::runtime_error(made.error().what);
  return *std::move(made);
}

Stage::Stage() {
  fs::create_directories(show());
  fs::create_directory(root_ / "scratch");
}

const simulator::Session& Stage::talked() const {
  static const simulator::Session session = talk_of(2);
  return session;
}

void Stage::talk() {
  const auto written = simulator::write_session(talked(), show(), {.bits = 16});
  if (!written) throw std::runtime_error(written.error().what);
  for (const auto& track : talked().tracks)
    belongs(track.name, [&track](double track_s) { return track.line_of(track_s); });
}

void Stage::talk_as(std::size_t track, const std::string& file, const std::string& name) {
  const simulator::SimulatedTrack& source = talked().tracks.at(track);
  sound(file, source.samples);
  belongs(name, [&source](double track_s) { return source.line_of(track_s); });
}

void Stage::sound(const std::string& file, const Samples& samples, int rate_hz) const {
  write_sound(show() / file, {samples}, rate_hz);
}

void Stage::text(const std::string& file, const std::string& text) const {
  write_text(show() / file, text);
}

void play(const HostileCase& hostile) {
  Stage stage;
  hostile.make(stage);
  if (hostile.as_nobody) {
    for (const auto& entry : fs::recursive_directory_iterator(stage.root()))
      (void)!::lchown(entry.path().c_str(), 65534, 65534);
    (void)!::chown(stage.root().c_str(), 65534, 65534);
  }
  const auto before = untouched(stage.root());
  for (const HostileRun& wanted : hostile.runs) {
    const auto results_before = results(stage.root());
    const ProgramRun run = run_program(wanted.args, stage.root(), kMost_s, hostile.as_nobody);
    if (run.exit == 127) GTEST_SKIP() << "the program cannot be started without root's rights";
    const std::string where = std::string(hostile.name) + ", " + wanted.args.front() + ": ";
    print_row(hostile, wanted, run);
    expect_well_told(wanted, run, where);
    EXPECT_EQ(untouched(stage.root()), before) << where;
    if (run.exit > 1) {
      EXPECT_EQ(results(stage.root()), results_before) << where;
    }
    expect_sound_results(stage, where);
    for (const char* name : {"out-evil", "out-evil.wav"})
      EXPECT_FALSE(fs::exists(fs::temp_directory_path() / name)) << where;
  }
}

HostileRun survey(std::vector<int> exits, std::string says) {
  return {{"survey", "shows/hour"}, std::move(exits), std::move(says)};
}
HostileRun align(std::vector<int> exits, std::string says) {
  return {{"align", "shows/hour", "--lineup", "out.lineup.json", "--threads", "2"},
          std::move(exits),
          std::move(says)};
}
HostileRun conform(std::vector<int> exits, std::string says) {
  return {{"conform", "shows/hour", "--out", "out", "--threads", "2"},
          std::move(exits),
          std::move(says)};
}
HostileRun check(std::vector<int> exits, std::string says) {
  return {{"check", "out", "--threads", "2"}, std::move(exits), std::move(says)};
}
HostileRun batch(std::vector<int> exits, std::string says) {
  return {{"batch", "shows", "--out", "out-batch", "--threads", "2"},
          std::move(exits),
          std::move(says)};
}

void PrintTo(const HostileCase& hostile, std::ostream* out) { *out << hostile.name; }

}  // namespace kilter::test
