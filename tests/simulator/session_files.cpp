#include "session_files.h"

#include <sndfile.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>

#include "truth.h"

namespace kilter::simulator {
namespace {

namespace fs = std::filesystem;
using nlohmann::ordered_json;

Error cannot_write(const fs::path& file, std::string what) {
  return {ErrorKind::cannot_write, file, std::move(what), "check the disk and the rights"};
}

Result<void> write_bytes(const fs::path& file, const char* bytes, std::size_t count) {
  std::ofstream out(file, std::ios::binary);
  out.write(bytes, static_cast<std::streamsize>(count));
  out.close();
  if (!out) return cannot_write(file, "the file could not be written");
  return {};
}

/// Rounded to nearest here, because libsndfile's own conversion rounds down.
std::vector<int> quantised(const std::vector<float>& samples, int bits) {
  const double scale = std::ldexp(1.0, bits - 1);
  std::vector<int> out;
  out.reserve(samples.size());
  for (const float x : samples) {
    const double value = std::clamp(std::nearbyint(x * scale), -scale, scale - 1.0);
    out.push_back(static_cast<int>(value) * (1 << (32 - bits)));
  }
  return out;
}

Result<void> write_lossless(const std::vector<float>& samples, double rate_hz, const fs::path& file,
                            const FileOptions& options) {
  SF_INFO info{};
  info.samplerate = static_cast<int>(std::lround(rate_hz));
  info.channels = 1;
  info.format = (options.flac ? SF_FORMAT_FLAC : SF_FORMAT_WAV) |
                (options.bits <= 16 ? SF_FORMAT_PCM_16 : SF_FORMAT_PCM_24);
  SNDFILE* out = sf_open(file.c_str(), SFM_WRITE, &info);
  if (out == nullptr) return cannot_write(file, sf_strerror(nullptr));
  double smallest = 1.0;  // slowest compression; WAV does not care
  sf_command(out, SFC_SET_COMPRESSION_LEVEL, &smallest, sizeof smallest);
  const std::vector<int> values = quantised(samples, options.bits);
  const auto frames = static_cast<sf_count_t>(values.size());
  const bool written = sf_writef_int(out, values.data(), frames) == frames;
  if (sf_close(out) != 0 || !written) return cannot_write(file, "the sound could not be written");
  return {};
}

Result<void> write_sound(const std::vector<float>& samples, double rate_hz,
                         const std::vector<char>& encoded, const fs::path& file,
                         const FileOptions& options) {
  if (!encoded.empty()) return write_bytes(file, encoded.data(), encoded.size());
  return write_lossless(samples, rate_hz, file, options);
}

ordered_json seams_of(const std::vector<TrueSeam>& seams) {
  ordered_json all = ordered_json::array();
  for (const TrueSeam& seam : seams)
    all.push_back({{"from_s", seam.track_from_s},
                   {"to_s", seam.track_to_s},
                   {"line_s", seam.line_s},
                   {"step_s", seam.step_s},
                   {"cause", seam.cause},
                   {"speech_near", seam.speech_near}});
  return all;
}

ordered_json truth_of(const SimulatedTrack& track, const FileOptions& options) {
  const double length_s = track.length_s();
  ordered_json points = ordered_json::array();
  for (int i = 0; 10.0 * i < length_s; ++i) points.push_back({10.0 * i, track.line_of(10.0 * i)});
  points.push_back({length_s, track.line_of(length_s)});
  ordered_json truth{{"name", track.name},
                     {"file", file_name(track.name, track.stored, options)},
                     {"rate", track.clock.file_rate_hz()},
                     {"frames", track.samples.size()},
                     {"role", track.remote ? "remote" : "room"},
                     {"recorder", track.recorder},
                     {"inverted", track.inverted},
                     {"start_s", track.line_of(0.0)},
                     {"drift_ppm", mean_drift_ppm(track)},
                     {"points", std::move(points)}};
  if (!track.seams.empty()) truth["seams"] = seams_of(track.seams);
  return truth;
}

}  // namespace

std::string file_name(const std::string& name, const Coding& coding, const FileOptions& options) {
  if (coding.codec == Codec::none) return name + (options.flac ? ".flac" : ".wav");
  return name + extension(coding.codec);
}

Result<void> write_session(const Session& session, const fs::path& folder,
                           const FileOptions& options) {
  std::error_code failed;
  fs::create_directories(folder, failed);
  if (failed) return cannot_write(folder, "the folder could not be made");
  for (const SimulatedTrack& track : session.tracks) {
    if (track.withheld) continue;
    auto done = write_sound(track.samples, track.clock.file_rate_hz(), track.encoded,
                            folder / file_name(track.name, track.stored, options), options);
    if (!done) return done;
  }
  return write_sound(session.mix, session.mix_rate_hz, session.mix_encoded,
                     folder / file_name(options.mix_name, session.mix_coding, options), options);
}

Result<void> write_truth(const Session& session, const fs::path& file, const FileOptions& options) {
  ordered_json mix{{"file", file_name(options.mix_name, session.mix_coding, options)},
                   {"rate", session.mix_rate_hz},
                   {"frames", session.mix.size()}};
  if (!session.mix_seams.empty()) mix["seams"] = seams_of(session.mix_seams);
  // A line per track and per utterance: for people and for line-by-line comparison.
  std::string text = "{\"kind\": \"kilter truth\", \"version\": 1,\n\"mix\": " + mix.dump();
  text += ",\n\"tracks\": [";
  const char* before = "\n";
  for (const SimulatedTrack& track : session.tracks) {
    if (track.withheld) continue;
    text += before + truth_of(track, options).dump();
    before = ",\n";
  }
  text += "],\n\"talk\": [";
  for (std::size_t i = 0; i < session.talk.size(); ++i) {
    const Utterance& u = session.talk[i];
    const ordered_json line{session.tracks[static_cast<std::size_t>(u.person)].name, u.line_from_s,
                            u.line_from_s + u.length_s};
    text += (i == 0 ? "\n" : ",\n") + line.dump();
  }
  text += "]}\n";
  return write_bytes(file, text.data(), text.size());
}

}  // namespace kilter::simulator
