// Any rate to the analysis rate, streaming, without moving the sound in time.
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "kilter/base/units.h"

namespace kilter {

/// Taps of one phase of a filter, eight of its frames apart: the sums of eight outputs each use the
/// input that the next tap needs for the eight before.
struct ReducerRun {
  std::size_t phase{0};
  std::int64_t shift{0};  ///< of the first tap
  std::vector<float> weights;
};

/// The filters of one rate: made once and shared by all channels that have it. Memory: at most
/// 200 kB. Safe to use from many threads.
class ReducerFilter {
 public:
  /// `rate` a whole number of hertz from 1 kHz to 768 kHz.
  explicit ReducerFilter(SampleRate rate);

  /// A place between input frames, as a whole frame and a share of the next.
  struct Place {
    std::int64_t frame{0};
    std::int64_t numerator{0};  // of up()
  };
  Place place_of(std::int64_t output) const { return {output * down_ / up_, output * down_ % up_}; }
  std::int64_t up() const { return up_; }
  std::int64_t down() const { return down_; }
  /// Taps on either side.
  std::int64_t half() const { return half_; }
  /// The output at a place; `input` holds 2 * half() frames, frame `half() - 1` of them being the
  /// place's.
  float value_at(const float* input, const Place& place) const;
  /// `count` outputs from there on that lie alike between input frames: every up()th one, down()
  /// input frames apart, into every up()th of `out`. The same bits as value_at() gives.
  void values_at(const float* input, const Place& place, std::int64_t count, float* out) const;

  /// Whether outputs lie on every down()th input frame, as from 48 kHz: value_batch() then does the
  /// work of many value_at(), to the rounding of a float.
  bool is_decimator() const { return up_ == 1; }
  static constexpr std::int64_t kBatch = 480;
  /// Input frames that kBatch outputs need, in each of `phases`.
  std::int64_t batch_frames() const { return kBatch + (2 * half_ + down_ - 1) / down_; }
  /// kBatch outputs in a row. Of the input from the first one's first tap on, phases[p] holds frame
  /// p and every down()th after it.
  void value_batch(std::span<const float* const> phases, float* out) const;

 private:
  void list_runs();
  const float* row(std::int64_t phase) const { return rows_.data() + phase * 2 * half_; }

  std::int64_t up_{1};  // output frame i lies at input position i * down_ / up_
  std::int64_t down_{1};
  std::int64_t half_{0};
  std::int64_t phases_{1};        // up_, or fewer to interpolate between
  std::vector<float> rows_;       // phases_ + 1 filters of 2 * half_ taps
  std::vector<ReducerRun> runs_;  // of a decimator, without the sinc's zeros
};

/// Converts one channel from its own rate to kAnalysisRateHz by a linear-phase polyphase filter
/// whose delay is taken out: output frame i is the sound at second i / kAnalysisRateHz of the
/// input, for any input rate. Flat within 0.1 dB up to 7.2 kHz (or 0.45 of a lower input rate);
/// what folds into the band below 7.2 kHz is 80 dB down, and so are the images of a lower rate.
/// Cost: about 110 multiplications per output frame from 48 kHz, 300 from a rate whose ratio to
/// kAnalysisRateHz is no small one. Memory: twice as many frames as the filter, a batch
/// of kBatch outputs and a block of input hold. One object per channel and thread.
class RateReducer {
 public:
  explicit RateReducer(SampleRate rate) : RateReducer(std::make_shared<ReducerFilter>(rate)) {}
  explicit RateReducer(std::shared_ptr<const ReducerFilter> filter);
  /// Appends to `out` the frames that `input` makes computable.
  void process(std::span<const float> input, std::vector<float>& out);
  /// Appends the rest; no process() after it.
  void finish(std::vector<float>& out);

 private:
  void emit(std::vector<float>& out, std::int64_t last_output);
  void emit_by_place(std::vector<float>& out, std::int64_t last_output);
  void emit_in_batches(std::vector<float>& out, std::int64_t last_output);
  void drop_spent();

  std::shared_ptr<const ReducerFilter> filter_;
  std::vector<float> history_;  // input frames from history_first_
  std::int64_t history_first_{0};
  std::int64_t received_{0};
  std::int64_t next_out_{0};
  std::vector<std::vector<float>> phases_;  // every down()th frame of the history
};

}  // namespace kilter
