// `kilter align` on small sessions of any make: an exit code that the manual names, with words for
// it, a lineup that is read back, and the same bytes whether one thread works or two.
#include <algorithm>
#include <array>
#include <atomic>
#include <cmath>
#include <limits>
#include <sstream>
#include <vector>

#include "fuzz.h"
#include "kilter/commands/run.h"
#include "kilter/edits/lineup_file.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::fuzz {
namespace {

namespace fs = std::filesystem;
using test::Samples;

constexpr int kRateHz = 16000;
constexpr double kLongest_s = 3.0;

/// Bursts and pauses, as talk is.
Samples talk(Input& input) {
  const auto frames = static_cast<std::size_t>(input.number(0.0, kLongest_s) * kRateHz);
  Samples samples(frames);
  std::uint32_t seed = input.byte();
  const std::uint64_t words = input.bits();
  const Samples noise = test::noise(frames, 0.5F, ++seed);
  for (std::size_t i = 0; i < frames; ++i) {
    const std::size_t tenth = i / (kRateHz / 10);
    if ((words >> (tenth % 64) & 1U) != 0) samples[i] = noise[i];
  }
  return samples;
}

/// What may become of sound on its way into a file.
void damage(Input& input, Samples& samples) {
  if (samples.empty()) return;
  const auto most = static_cast<int>(samples.size()) - 1;
  const auto at = samples.begin() + input.whole(0, most);
  const auto to = std::min(samples.end(),
                           at + std::min<std::ptrdiff_t>(samples.end() - at, input.whole(0, 8000)));
  switch (input.whole(0, 7)) {
    case 0:
      std::fill(at, to, 0.0F);
      break;
    case 1:
      samples.erase(at, to);
      break;
    case 2: {
      const Samples again(at, to);
      samples.insert(samples.begin() + input.whole(0, most), again.begin(), again.end());
      break;
    }
    case 3:
      std::fill(at, to, std::numeric_limits<float>::quiet_NaN());
      break;
    case 4:
      std::fill(at, to, std::numeric_limits<float>::infinity());
      break;
    case 5:
      for (float& sample : samples) sample = -sample;
      break;
    case 6:
      for (float& sample : samples) sample *= static_cast<float>(input.number(0.0, 1e4));
      break;
    default:
      break;
  }
}

Samples later(const Samples& samples, std::size_t frames) {
  Samples moved(frames);
  moved.insert(moved.end(), samples.begin(), samples.end());
  return moved;
}

void add(const Samples& more, float gain, Samples& sum) {
  sum.resize(std::max(sum.size(), more.size()));
  for (std::size_t i = 0; i < more.size(); ++i) sum[i] += gain * more[i];
}

/// Tracks, of which the mix is made or is not.
void put_session(Input& input, const fs::path& session) {
  Samples mix;
  const int count = input.whole(1, 3);
  for (int i = 0; i < count; ++i) {
    Samples track = talk(input);
    add(later(track, static_cast<std::size_t>(input.whole(0, kRateHz))),
        static_cast<float>(input.number(-1.0, 1.0)), mix);
    if (input.flag()) damage(input, track);
    constexpr std::array kRates{16000, 16000, 8000, 15999, 48000};
    test::write_sound(session / ("keeper-" + std::to_string(i) + ".wav"),
                      std::vector<Samples>(input.flag() ? 2 : 1, track), input.one_of(kRates));
  }
  if (input.flag()) damage(input, mix);
  test::write_sound(session / (input.whole(0, 7) == 0 ? "cook.wav" : "mixdown.wav"), {mix},
                    kRateHz);
}

struct Outcome {
  int exit{0};
  std::string out, err, lineup;
};

Outcome align(const fs::path& session, const std::string& threads) {
  const fs::path file = folder() / "12.lineup.json";
  fs::remove(file);
  const std::vector<std::string> args{"align",       session.string(), "--lineup",
                                      file.string(), "--threads",      threads};
  std::ostringstream out;
  std::ostringstream err;
  const std::atomic<bool> stop{false};
  const int exit = commands::run(args, out, err, false, stop);
  return {exit, out.str(), err.str(), test::read_text(file)};
}

}  // namespace

void try_input(Input input) {
  const fs::path session = folder() / "show";
  fs::remove_all(session);
  fs::create_directories(session);
  put_session(input, session);
  const Outcome one = align(session, "1");
  require(one.exit == 0 || one.exit == 1 || one.exit == 3, "done, a person's, or no input");
  require(one.exit != 3 || !one.err.empty(), "who cannot tells why");
  require(one.exit == 3 || edits::lineup_from_text(one.lineup, "12.lineup.json"),
          "the lineup is read back");
  const Outcome two = align(session, "2");
  require(one.exit == two.exit && one.out == two.out && one.err == two.err, "the same words");
  require(one.lineup == two.lineup, "the same lineup for any number of threads");
}

}  // namespace kilter::fuzz
