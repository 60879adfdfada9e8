// A simulated session as the estimator gets it.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "kilter/signal/analysis_signal.h"
#include "kilter/sync/align.h"
#include "simulator/simulator.h"

namespace kilter::accuracy {

/// What is simulated, and what is handed over of it.
struct Order {
  simulator::SessionSpec spec;
  int foreign{0};      ///< tracks of another session that lie in the folder as well
  bool has_mix{true};  ///< else the tracks must do among themselves
};

struct Session {
  Order order;
  simulator::Session sound;  ///< without its samples
  std::unique_ptr<MemorySignal> mix;
  std::vector<std::unique_ptr<MemorySignal>> signals;
  std::vector<sync::TrackInput> inputs;
  std::vector<int> truth;          ///< per input: its track of `sound`; -1: of another session
  std::vector<double> drifts_ppm;  ///< per input, the true mean; 0 for strangers
  sync::MixInput mix_input;

  double mix_length_s{0.0};  ///< of the file, handed over or not
};

/// Voices of one seed; from `folder` where that is given. Throws std::runtime_error where the
/// folder does not do.
std::unique_ptr<simulator::VoiceSource> make_voices(const std::string& folder, std::uint64_t seed);

/// Throws std::runtime_error where the simulation fails.
Session make_session(const Order& order, const std::string& voices_folder, int threads);

/// The same session as files below `folder`, made when missing, strangers among them; without a mix
/// where the order has none. Voices are made by rule. Throws std::runtime_error where that fails.
void write_session_files(const Order& order, int threads, const std::filesystem::path& folder);

}  // namespace kilter::accuracy
