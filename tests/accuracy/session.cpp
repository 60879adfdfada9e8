#include "accuracy/session.h"

#include <algorithm>
#include <stdexcept>

#include "simulator/folder_voices.h"
#include "simulator/session_files.h"
#include "simulator/truth.h"
#include "support/reduce.h"

namespace kilter::accuracy {
namespace {

constexpr int kMostVoices = 8;
constexpr std::uint64_t kForeignSeed = 500'000;

bool lossy(const simulator::Coding& coding) { return coding.codec != simulator::Codec::none; }

simulator::Session simulated(const simulator::SessionSpec& spec, const std::string& voices_folder,
                             int threads, simulator::CodedFile files) {
  const auto voices = make_voices(voices_folder, spec.seed);
  auto made = simulator::simulate(spec, *voices, threads, files);
  if (!made && spec.faults_amid_speech) {  // two faults went to the same sentence
    simulator::SessionSpec stays = spec;
    stays.faults_amid_speech = false;
    made = simulator::simulate(stays, *voices, threads, files);
  }
  if (!made) throw std::runtime_error(made.error().what);
  return *std::move(made);
}

void add_input(simulator::SimulatedTrack& track, int truth, Session& session) {
  const double rate_hz = track.clock.file_rate_hz();
  session.signals.push_back(test::reduce(track.samples, rate_hz));
  sync::TrackInput input;
  input.name = track.name;
  input.signal = session.signals.back().get();
  input.length_s = track.length_s();
  input.lossy = lossy(track.stored);
  input.rate_hz = rate_hz;
  session.inputs.push_back(std::move(input));
  session.truth.push_back(truth);
  session.drifts_ppm.push_back(truth < 0 ? 0.0 : simulator::mean_drift_ppm(track));
  std::vector<float>().swap(track.samples);
  std::vector<char>().swap(track.encoded);
}

/// Tracks of two people in a room and a guest, on the same evening's clocks, talking about
/// something else.
std::vector<simulator::SimulatedTrack> strangers_of(const Order& order,
                                                    const std::string& voices_folder, int threads,
                                                    simulator::CodedFile files) {
  const auto other = simulator::hybrid_session(order.spec.seed + kForeignSeed, order.spec.length_s,
                                               2, std::max(1, order.foreign - 2));
  simulator::Session sound = simulated(other, voices_folder, threads, files);
  std::vector<simulator::SimulatedTrack> strangers;
  for (int i = 0; i < order.foreign; ++i) {
    auto& track = sound.tracks[sound.tracks.size() - 1 - static_cast<std::size_t>(i)];
    track.name = "stranger-" + track.name;
    strangers.push_back(std::move(track));
  }
  return strangers;
}

}  // namespace

std::unique_ptr<simulator::VoiceSource> make_voices(const std::string& folder, std::uint64_t seed) {
  if (folder.empty()) return std::make_unique<simulator::SyntheticVoices>(seed);
  auto opened = simulator::FolderVoices::open(folder, seed, kMostVoices);
  if (!opened) throw std::runtime_error(opened.error().what);
  return *std::move(opened);
}

Session make_session(const Order& order, const std::string& voices_folder, int threads) {
  Session session;
  session.order = order;
  constexpr auto kFiles = simulator::CodedFile::not_wanted;
  session.sound = simulated(order.spec, voices_folder, threads, kFiles);
  simulator::Session& sound = session.sound;
  session.mix_length_s = static_cast<double>(sound.mix.size()) / sound.mix_rate_hz;
  if (order.has_mix) {
    session.mix = test::reduce(sound.mix, sound.mix_rate_hz);
    session.mix_input.signal = session.mix.get();
    session.mix_input.length_s = session.mix_length_s;
    session.mix_input.lossy = lossy(sound.mix_coding);
  }
  std::vector<float>().swap(sound.mix);
  for (std::size_t i = 0; i < sound.tracks.size(); ++i) {
    if (sound.tracks[i].withheld) continue;
    add_input(sound.tracks[i], static_cast<int>(i), session);
  }
  if (order.foreign > 0)
    for (auto& track : strangers_of(order, voices_folder, threads, kFiles))
      add_input(track, -1, session);
  return session;
}

void write_session_files(const Order& order, int threads, const std::filesystem::path& folder) {
  constexpr auto kFiles = simulator::CodedFile::wanted;
  simulator::Session sound = simulated(order.spec, "", threads, kFiles);
  if (order.foreign > 0)
    for (auto& track : strangers_of(order, "", threads, kFiles))
      sound.tracks.push_back(std::move(track));
  const simulator::FileOptions options;
  if (auto written = simulator::write_session(sound, folder, options); !written)
    throw std::runtime_error(written.error().what);
  if (!order.has_mix)
    std::filesystem::remove(folder /
                            simulator::file_name(options.mix_name, sound.mix_coding, options));
}

}  // namespace kilter::accuracy
