#include "kilter/intake/loudness_meter.h"

#include <ebur128.h>

#include <cmath>
#include <new>
#include <utility>

namespace kilter::intake {

struct LoudnessMeter::State {
  explicit State(ebur128_state* made) : library(made) {}
  State(const State&) = delete;
  State& operator=(const State&) = delete;
  ~State() { ebur128_destroy(&library); }
  ebur128_state* library;
};

LoudnessMeter::LoudnessMeter(SampleRate rate) {
  // Steps of 0.1 LU in place of a list of all blocks, which would grow with the length.
  ebur128_state* const library = ebur128_init(1, static_cast<unsigned long>(std::llround(rate.hz)),
                                              EBUR128_MODE_I | EBUR128_MODE_HISTOGRAM);
  if (library == nullptr) throw std::bad_alloc();
  state_ = std::make_unique<State>(library);
}

LoudnessMeter::LoudnessMeter(LoudnessMeter&&) noexcept = default;
LoudnessMeter& LoudnessMeter::operator=(LoudnessMeter&&) noexcept = default;
LoudnessMeter::~LoudnessMeter() = default;

void LoudnessMeter::process(std::span<const float> frames) {
  if (ebur128_add_frames_float(state_->library, frames.data(), frames.size()) != EBUR128_SUCCESS)
    throw std::bad_alloc();
}

std::optional<double> LoudnessMeter::integrated_lufs() const {
  double lufs = 0.0;
  if (ebur128_loudness_global(state_->library, &lufs) != EBUR128_SUCCESS || !std::isfinite(lufs))
    return std::nullopt;
  return lufs;
}

}  // namespace kilter::intake
