#include "long_show.h"

#include <algorithm>
#include <cmath>
#include <sndfile.hh>
#include <stdexcept>
#include <string>
#include <vector>

#include "simulator/simulator.h"

namespace kilter::bench {
namespace {

namespace fs = std::filesystem;

constexpr double kPiece_s = 300.0;

class Writer {
 public:
  Writer(const fs::path& folder, const std::string& name, const LongShow& show)
      : file_((folder / (name + (show.flac ? ".flac" : ".wav"))).string(), SFM_WRITE,
              show.flac ? SF_FORMAT_FLAC | SF_FORMAT_PCM_16 : SF_FORMAT_WAV | SF_FORMAT_PCM_24, 1,
              static_cast<int>(show.rate_hz)) {
    if (!file_) throw std::runtime_error(name + " cannot be written");
  }
  void append(const std::vector<float>& samples) {
    const auto frames = static_cast<sf_count_t>(samples.size());
    if (file_.writef(samples.data(), frames) != frames)
      throw std::runtime_error("a long session cannot be written");
  }

 private:
  SndfileHandle file_;
};

/// Five minutes of it, as a session whose clocks began earlier.
class Pieces {
 public:
  explicit Pieces(const LongShow& show)
      : show_(show),
        whole_(simulator::hybrid_session(show.seed, show.length_s, show.room, show.remote)),
        frames_(whole_.recorders.size(), 0.0) {
    for (auto& recorder : whole_.recorders) recorder.rate_hz = show.rate_hz;
  }

  simulator::SessionSpec from(double from_s, double to_s, std::uint64_t number) const {
    auto spec =
        simulator::hybrid_session(show_.seed + number, to_s - from_s, show_.room, show_.remote);
    spec.mix.rate_hz = show_.rate_hz;
    for (std::size_t r = 0; r < spec.recorders.size(); ++r) {
      const simulator::Clock& clock = whole_.recorders[r];
      const double own_s = frames_[r] / show_.rate_hz;
      spec.recorders[r] = clock;
      spec.recorders[r].start_s = clock.line_of(own_s) - from_s;
      spec.recorders[r].length_s =
          std::ceil(clock.own_of(to_s) * show_.rate_hz) / show_.rate_hz - own_s;
    }
    return spec;
  }
  void have_written(std::size_t recorder, std::size_t frames) {
    frames_[recorder] += static_cast<double>(frames);
  }
  const simulator::SessionSpec& whole() const { return whole_; }

 private:
  const LongShow& show_;
  simulator::SessionSpec whole_;
  std::vector<double> frames_;  // of each recorder so far
};

}  // namespace

void write_long_show(const LongShow& show, int threads, const fs::path& folder) {
  fs::remove_all(folder);
  fs::create_directories(folder);
  Pieces pieces(show);
  std::vector<Writer> writers;
  for (const auto& person : pieces.whole().people) writers.emplace_back(folder, person.name, show);
  Writer mix(folder, "mixdown", show);
  std::uint64_t number = 0;
  for (double from_s = 0.0; from_s < show.length_s; from_s += kPiece_s, ++number) {
    // A rest of seconds would be too short for a session of its own.
    const bool is_last = show.length_s - from_s < 1.5 * kPiece_s;
    const double to_s = is_last ? show.length_s : from_s + kPiece_s;
    const auto piece = simulator::simulate(pieces.from(from_s, to_s, number),
                                           simulator::SyntheticVoices(show.seed + number), threads);
    if (!piece) throw std::runtime_error(piece.error().what);
    std::vector<std::size_t> written(pieces.whole().recorders.size(), 0);
    for (std::size_t i = 0; i < writers.size(); ++i) {
      const auto& track = piece->tracks[i];
      writers[i].append(track.samples);
      written[static_cast<std::size_t>(track.recorder)] = track.samples.size();
    }
    for (std::size_t r = 0; r < written.size(); ++r) pieces.have_written(r, written[r]);
    mix.append(piece->mix);
    if (is_last) return;
  }
}

}  // namespace kilter::bench
