#include "accuracy/session.h"

#include <algorithm>
#include <stdexcept>

#include "simulator/folder_voices.h"
#include "simulator/truth.h"
#include "support/reduce.h"

namespace kilter::accuracy {
namespace {

constexpr int kMostVoices = 8;
constexpr std::uint64_t kForeignSeed = 500'000;

bool lossy(const simulator::Coding& coding) { return coding.codec != simulator::Codec::none; }

simulator::Session simulated(const simulator::SessionSpec& spec, const std::string& voices_folder,
                             int threads) {
  const auto voices = make_voices(voices_folder, spec.seed);
  auto made = simulator::simulate(spec, *voices, threads, simulator::CodedFile::not_wanted);
  if (!made && spec.faults_amid_speech) {  // two faults went to the same sentence
    simulator::SessionSpec stays = spec;
    stays.faults_amid_speech = false;
    made = simulator::simulate(stays, *voices, threads, simulator::CodedFile::not_wanted);
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

/// Two people in a room and a guest, on the same evening's clocks, talking about something else.
void add_foreign(int count, const std::string& voices_folder, int threads, Session& session) {
  const simulator::SessionSpec& own = session.order.spec;
  auto other =
      simulator::hybrid_session(own.seed + kForeignSeed, own.length_s, 2, std::max(1, count - 2));
  simulator::Session sound = simulated(other, voices_folder, threads);
  for (int i = 0; i < count; ++i) {
    auto& track = sound.tracks[sound.tracks.size() - 1 - static_cast<std::size_t>(i)];
    track.name = "stranger-" + track.name;
    add_input(track, -1, session);
  }
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
  session.sound = simulated(order.spec, voices_folder, threads);
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
  if (order.foreign > 0) add_foreign(order.foreign, voices_folder, threads, session);
  return session;
}

}  // namespace kilter::accuracy
