// Where the simulator gets people's voices.
#pragma once

#include <cstdint>
#include <vector>

namespace kilter::simulator {

/// Rate of everything that sounds before a recorder or the mix takes it down.
inline constexpr int kWorldRateHz = 48000;

/// Speech to order. Implementations are safe to call from many threads and give the same sound for
/// the same arguments.
class VoiceSource {
 public:
  VoiceSource() = default;
  VoiceSource(const VoiceSource&) = delete;
  VoiceSource& operator=(const VoiceSource&) = delete;
  virtual ~VoiceSource() = default;

  /// Utterance number `index` of `person` (both from 0): exactly `frames` at kWorldRateHz, mean
  /// level 1 (RMS), faded at both ends.
  virtual std::vector<float> utterance(int person, int index, std::int64_t frames) const = 0;
};

/// Speech made by rule: a pulse train with moving pitch through moving formants, hiss and bursts.
/// No words, but speech's rhythm, spectrum and periodicity. Each person of each seed has another
/// voice and never says the same thing twice. Cost: about 100 times faster than real time.
class SyntheticVoices final : public VoiceSource {
 public:
  explicit SyntheticVoices(std::uint64_t seed) : seed_(seed) {}
  std::vector<float> utterance(int person, int index, std::int64_t frames) const override;

 private:
  std::uint64_t seed_;
};

/// Fades both ends and brings the mean level to 1; silence stays silence.
void finish_utterance(std::vector<float>& samples);

}  // namespace kilter::simulator
