#include "kilter/signal/resampler.h"

#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

#include "fir_kernels.h"
#include "frame_position.h"
#include "interpolator.h"
#include "kilter/base/whole_frames.h"
#include "track_window.h"

namespace kilter {
namespace {

constexpr double kLargestStep = 1e6;  // track frames per output frame
// Output and track frames that are in the works at once.
constexpr std::int64_t kBlock = 4096;  // stays in the cache
// Where two spans meet, rounding may step back by a frame.
constexpr std::int64_t kSlack = 2;
constexpr std::int64_t kLongBefore = -(std::int64_t{1} << 62);

FramePosition to_position(double frames) {
  const double kept = bounded_frames(frames);
  const double whole = std::floor(kept);
  const double fraction = std::min(kept - whole, 1.0 - 0x1p-53);  // rounding may make it 1
  return {static_cast<std::int64_t>(whole), static_cast<std::uint64_t>(std::ldexp(fraction, 64))};
}

}  // namespace

class MapResampler::Engine {
 public:
  Engine(const TimeMap& map, SampleRate in_rate, SampleRate out_rate, double from_s, Pull pull);
  Result<void> read(std::span<float> out);
  Ahead ahead() const;

 private:
  /// A span in frames.
  struct Run {
    std::int64_t out_first{0};
    std::int64_t out_end{0};
    FramePosition start;
    FramePosition step;
    std::shared_ptr<const Interpolator> interpolator;  // none where samples are copied
    Passage passage() const { return interpolator ? Passage::interpolated : Passage::copy; }
  };

  Run run_of(const Span& span, SampleRate in_rate, SampleRate out_rate, double from_s) const;
  Result<void> fill(const Run& run, std::span<float> out);
  Result<void> copy(std::span<float> out);
  Result<void> interpolate_run(const Run& run, std::span<float> out);

  TrackWindow window_;
  std::vector<Run> runs_;  // none of them empty
  std::int64_t reach_{0};  // frames before a position that some output needs, and slack
  std::size_t run_{0};     // the first that is not over
  std::int64_t next_out_{0};
  FramePosition position_{kLongBefore, 0};
};

MapResampler::Engine::Engine(const TimeMap& map, SampleRate in_rate, SampleRate out_rate,
                             double from_s, Pull pull)
    : window_(std::move(pull), kReadableBeyond) {
  for (const Span& span : map.spans()) {
    Run run = run_of(span, in_rate, out_rate, from_s);
    if (run.out_end <= run.out_first) continue;
    if (run.interpolator) reach_ = std::max(reach_, run.interpolator->half() - 1);
    runs_.push_back(std::move(run));
  }
  reach_ += kSlack;
}

MapResampler::Engine::Run MapResampler::Engine::run_of(const Span& span, SampleRate in_rate,
                                                       SampleRate out_rate, double from_s) const {
  Run run;
  run.out_first =
      std::max<std::int64_t>(first_frame_from((span.line_from_s - from_s) * out_rate.hz), 0);
  run.out_end = first_frame_from((span.line_to_s - from_s) * out_rate.hz);
  if (run.out_end <= run.out_first) return run;
  const double frames_per_out = in_rate.hz / (out_rate.hz * span.rate());
  const double line_s = from_s - span.line_from_s;  // of output frame 0, inside the span
  const double start = (span.from_s + line_s / span.rate()) * in_rate.hz +
                       static_cast<double>(run.out_first) * frames_per_out;
  const auto length = static_cast<double>(run.out_end - run.out_first);
  if (is_whole_frame(start) && std::abs(frames_per_out - 1.0) * length <= kWholeFrame) {
    run.start = to_position(std::round(start));
    run.step = {1, 0};
    return run;
  }
  run.start = to_position(start);
  run.step = to_position(std::min(frames_per_out, kLargestStep));
  run.interpolator = Interpolator::shared(interpolator_shape(in_rate, out_rate, frames_per_out));
  return run;
}

Result<void> MapResampler::Engine::read(std::span<float> out) {
  while (!out.empty()) {
    while (run_ < runs_.size() && next_out_ >= runs_[run_].out_end) ++run_;
    std::int64_t count = std::ssize(out);
    if (run_ == runs_.size() || next_out_ < runs_[run_].out_first) {
      if (run_ < runs_.size()) count = std::min(count, runs_[run_].out_first - next_out_);
      std::fill_n(out.begin(), count, 0.0F);
    } else {
      const Run& run = runs_[run_];
      const std::int64_t at_once = std::max<std::int64_t>(kBlock / (run.step.frame + 1), 1);
      count = std::min({count, run.out_end - next_out_, at_once});
      if (auto filled = fill(run, out.first(static_cast<std::size_t>(count))); !filled)
        return filled.error();
    }
    next_out_ += count;
    out = out.subspan(static_cast<std::size_t>(count));
  }
  return {};
}

Result<void> MapResampler::Engine::fill(const Run& run, std::span<float> out) {
  // Maps go forward; one whose numbers are too large to say so stays where it is.
  if (next_out_ == run.out_first && run.start.frame >= position_.frame - 1) position_ = run.start;
  auto filled = run.interpolator ? interpolate_run(run, out) : copy(out);
  position_ = after_steps(position_, run.step, std::ssize(out));
  return filled;
}

Result<void> MapResampler::Engine::copy(std::span<float> out) {
  const std::int64_t first = position_.frame;
  const std::int64_t end = first + std::ssize(out);
  if (end <= 0 || window_.ended_by(first)) {
    std::fill(out.begin(), out.end(), 0.0F);
    return {};
  }
  if (auto held = window_.hold(first - reach_, end); !held) return held.error();
  std::copy_n(window_.at(first), out.size(), out.begin());
  return {};
}

Result<void> MapResampler::Engine::interpolate_run(const Run& run, std::span<float> out) {
  const Interpolator& interpolator = *run.interpolator;
  const std::int64_t first = position_.frame - (interpolator.half() - 1);
  const std::int64_t last = after_steps(position_, run.step, std::ssize(out) - 1).frame;
  const std::int64_t end = last + interpolator.half() + 1;
  if (end <= 0 || window_.ended_by(first)) {
    std::fill(out.begin(), out.end(), 0.0F);
    return {};
  }
  if (auto held = window_.hold(position_.frame - reach_, end); !held) return held.error();
  interpolator.interpolate(window_.at(first), {0, position_.fraction}, run.step, out);
  return {};
}

MapResampler::Ahead MapResampler::Engine::ahead() const {
  std::size_t at = run_;
  while (at < runs_.size() && next_out_ >= runs_[at].out_end) ++at;
  if (at == runs_.size()) return {};
  if (next_out_ < runs_[at].out_first) return {Passage::silence, runs_[at].out_first - next_out_};
  const Passage passage = runs_[at].passage();
  while (at + 1 < runs_.size() && runs_[at + 1].out_first == runs_[at].out_end &&
         runs_[at + 1].passage() == passage)
    ++at;
  return {passage, runs_[at].out_end - next_out_};
}

MapResampler::MapResampler(const TimeMap& map, SampleRate in_rate, SampleRate out_rate,
                           double from_s, Pull pull)
    : engine_(std::make_unique<Engine>(map, in_rate, out_rate, from_s, std::move(pull))) {}
MapResampler::MapResampler(MapResampler&&) noexcept = default;
MapResampler& MapResampler::operator=(MapResampler&&) noexcept = default;
MapResampler::~MapResampler() = default;

Result<void> MapResampler::read(std::span<float> out) { return engine_->read(out); }

MapResampler::Ahead MapResampler::ahead() const { return engine_->ahead(); }

}  // namespace kilter
