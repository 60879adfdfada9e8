// Windows of several signals as spectra, and how much of one another explains through a wire: a
// gain and a phase per band, the same for all frames of a window.
#pragma once

#include <array>
#include <complex>
#include <cstddef>
#include <optional>
#include <vector>

#include "kilter/base/result.h"
#include "kilter/signal/analysis_signal.h"
#include "kilter/signal/fft.h"
#include "kilter/sync/line_fit.h"

namespace kilter::sync {

inline constexpr int kSpectrumFrame = 4096;
inline constexpr int kSpectrumHop = kSpectrumFrame / 2;
inline constexpr int kSpectrumFrames = 22;  // of a window: 3 s
inline constexpr double kSpectrumWindow_s =
    static_cast<double>(kSpectrumFrame + (kSpectrumFrames - 1) * kSpectrumHop) / kAnalysisRateHz;
inline constexpr double kSpectrumFrom_hz = 200.0;
inline constexpr double kSpectrumTo_hz = 7000.0;
inline constexpr double kVoicesTo_hz = 3400.0;  // coders of few bits make noise of what is higher
inline constexpr std::size_t kFirstBin =
    static_cast<std::size_t>(kSpectrumFrom_hz * kSpectrumFrame / kAnalysisRateHz);
inline constexpr std::size_t kSpectrumBins =
    static_cast<std::size_t>(kSpectrumTo_hz * kSpectrumFrame / kAnalysisRateHz) - kFirstBin;

/// A signal and when its frames are heard in the mix.
struct PlacedSignal {
  const AnalysisSignal* signal{nullptr};
  double lag_s{0.0};
  double slope{1.0};  // mix seconds per track second

  double at(double mix_s) const { return (mix_s - lag_s) / slope; }
};

/// In mix seconds.
struct Stretch {
  double from_s{0.0};
  double to_s{0.0};
};

/// Frames of a window as spectra: bin b of frame f at [f * kSpectrumBins + b].
struct WindowSpectra {
  std::vector<float> re = std::vector<float>(kSpectrumFrames * kSpectrumBins);
  std::vector<float> im = std::vector<float>(kSpectrumFrames * kSpectrumBins);
};

/// Takes windows as spectra and compares their phases. One per thread.
class WindowAnalyser {
 public:
  /// Frames round the mix seconds from `from_s` on, each moved to the fraction of a sample that
  /// `placed` asks for, heard `late_s` (+ `slope` * mix seconds) later. Fails where the signal
  /// cannot be read.
  Result<void> take(const PlacedSignal& placed, double from_s, double late_s, double slope,
                    WindowSpectra& out);

  /// How much later than its map says `b` is heard against `a`, if one delay stands out.
  std::optional<Observation> delay(const WindowSpectra& a, const WindowSpectra& b, double mix_s);

 private:
  RealFft fft_{kSpectrumFrame};
  std::vector<float> window_ = hann_window(kSpectrumFrame);
  std::vector<float> samples_ = std::vector<float>(kSpectrumFrame);
  FftVector<float> buffer_ = FftVector<float>(kSpectrumFrame);
  FftVector<std::complex<float>> bins_ = FftVector<std::complex<float>>(kSpectrumFrame / 2 + 1);
};

/// What two signals have to do with each other in one window.
struct Meeting {
  double power_a{0.0};
  double power_b{0.0};
  double rest_a{0.0};  // what b leaves unexplained of a
  double rest_b{0.0};
  double cross{0.0};  // real part of the cross-spectrum's sum
};

Meeting meet(const WindowSpectra& a, const WindowSpectra& b);

/// Of one frame, the part of it in which voices are: up to kVoicesTo_hz.
struct FrameRest {
  float power{0.0F};
  float rest{0.0F};
};
using FrameRests = std::array<FrameRest, kSpectrumFrames>;

/// What the source leaves unexplained of each of the target's frames: a gain and a phase per band,
/// and of every frame besides, for a level that moves.
FrameRests rests_of_frames(const WindowSpectra& target, const WindowSpectra& source);

/// What all sources together leave unexplained of the target, a gain and a phase per band and
/// source, as a share of its power. The more sources, the fewer and wider the bands.
double unexplained_share(const WindowSpectra& target, const std::vector<WindowSpectra>& sources);

}  // namespace kilter::sync
