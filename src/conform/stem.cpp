#include "stem.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <utility>

#include "edges.h"
#include "kilter/conform/conform.h"
#include "kilter/media/audio_file.h"
#include "kilter/signal/resampler.h"
#include "kilter/signal/sample_digest.h"
#include "track_reader.h"

namespace kilter::conform {
namespace {

constexpr std::int64_t kBlock = 4096;  // what is in the works stays in the cache

/// Of whole numbers; 0 where the format has none.
int whole_bits(media::SampleFormat format) {
  return format == media::SampleFormat::float32 ? 0 : bits_of(format);
}

/// What was read last.
enum class Made {
  silence,
  copied,    // samples that the stem's format holds as they are
  finer,     // copied from a finer format: it may hold them, or not
  computed,  // samples that it does not hold
};

/// Whether a format of so many bits holds every sample as it is. +1 counts as its highest step,
/// one below it, as in the writer: a -1 that was turned round is no reason to dither.
bool holds(int bits, std::span<const float> samples) {
  const float scale = std::ldexp(1.0F, bits - 1);
  return std::all_of(samples.begin(), samples.end(), [&](float sample) {
    return sample * scale == std::round(sample * scale) && sample >= -1.0F && sample <= 1.0F;
  });
}

/// One track as it sounds on the timeline.
class Take {
 public:
  Take(const LineupTrack& track, SharedFiles& files, const StemShape& shape)
      : inverted_(track.inverted),
        bits_(whole_bits(shape.format)),
        reader_(track, files),
        resampler_(*track.map, {track.rate_hz}, {shape.rate_hz}, shape.from_s,
                   [this](std::span<float> out) { return reader_.pull(out); }),
        edges_(track.role == Role::mix ? std::vector<Edge>{}  // the guide stays as it was
                                       : edges_of(*track.map, shape.rate_hz, shape.from_s)) {}
  Take(const Take&) = delete;
  Take& operator=(const Take&) = delete;

  /// How many of the next frames come about in one way.
  std::int64_t ahead() const {
    if (!held_.empty()) return std::ssize(held_) - taken_;
    const std::int64_t frames = resampler_.ahead().frames;
    if (edge_ == edges_.size()) return frames;
    const Edge& edge = edges_[edge_];
    return is_at_edge() ? edge.end - next_ : std::min(frames, edge.first - next_);
  }

  /// No more than ahead().
  Result<Made> read(std::span<float> sound) {
    if (held_.empty() && is_at_edge())
      if (auto held = hold_edge(); !held) return held.error();
    Made made = held_made_;
    if (held_.empty()) {
      const auto read = pass(sound);
      if (!read) return read;
      made = *read;
    } else {
      std::copy_n(held_.begin() + taken_, sound.size(), sound.begin());
      taken_ += std::ssize(sound);
      if (taken_ == std::ssize(held_)) held_.clear();
    }
    if (inverted_)
      for (float& sample : sound) sample = -sample;
    next_ += std::ssize(sound);
    return made;
  }

 private:
  bool is_at_edge() const { return edge_ < edges_.size() && next_ >= edges_[edge_].first; }

  /// Reads an edge whole: whether it clicks is told by its last sample.
  Result<void> hold_edge() {
    const Edge& edge = edges_[edge_++];
    held_.resize(static_cast<std::size_t>(edge.end - next_));
    taken_ = 0;
    held_made_ = Made::silence;
    for (auto rest = std::span(held_); !rest.empty();) {
      const auto count = std::min(std::ssize(rest), resampler_.ahead().frames);
      const auto made = pass(rest.first(static_cast<std::size_t>(count)));
      if (!made) return made.error();
      held_made_ = std::max(held_made_, *made);
      rest = rest.subspan(static_cast<std::size_t>(count));
    }
    if (fade(edge, next_, held_)) held_made_ = Made::computed;
    return {};
  }

  /// What the resampler makes in one way.
  Result<Made> pass(std::span<float> sound) {
    const MapResampler::Passage passage = resampler_.ahead().passage;
    if (auto read = resampler_.read(sound); !read) return read.error();
    if (passage == MapResampler::Passage::silence) return Made::silence;
    if (passage == MapResampler::Passage::interpolated) return Made::computed;
    return bits_ > 0 && reader_.is_finer_than(bits_) ? Made::finer : Made::copied;
  }

  bool inverted_;
  int bits_;  // of the stem
  TrackReader reader_;
  MapResampler resampler_;
  std::int64_t next_{0};
  std::vector<Edge> edges_;
  std::size_t edge_{0};
  std::vector<float> held_;  // an edge on its way out
  std::ptrdiff_t taken_{0};  // of it
  Made held_made_{Made::silence};
};

/// Where the mix's own clock rules, what comes behind a loss lies where that was measured to have
/// ended, on no whole frame: half a frame matters to nobody, and a guide that is copied does.
std::vector<Span> on_frames(std::vector<Span> spans, double rate_hz) {
  constexpr double kUnbent = 1e-12;
  double end_s = -std::numeric_limits<double>::infinity();
  for (Span& span : spans) {
    if (std::abs(span.rate() - 1.0) <= kUnbent) {
      const double offset_s = std::round((span.line_from_s - span.from_s) * rate_hz) / rate_hz;
      span.from_s = std::max(span.from_s, std::min(end_s - offset_s, span.to_s - 1.0 / rate_hz));
      span.line_from_s = span.from_s + offset_s;
      span.line_to_s = span.to_s + offset_s;
    }
    end_s = span.line_to_s;
  }
  return spans;
}

}  // namespace

int bits_of(media::SampleFormat format) {
  switch (format) {
    case media::SampleFormat::pcm16:
      return 16;
    case media::SampleFormat::pcm24:
      return 24;
    case media::SampleFormat::float32:
      break;
  }
  return 32;
}

std::vector<const LineupTrack*> tracks_with_stems(const Lineup& lineup) {
  std::vector<const LineupTrack*> tracks;
  for (const LineupTrack& track : lineup.tracks)
    if (track.is_used()) tracks.push_back(&track);
  return tracks;
}

std::vector<StemPlan> plan_stems(const Lineup& lineup, const std::vector<LineupTrack>& mix_channels,
                                 media::Container container) {
  std::vector<StemPlan> plans;
  std::vector<std::string> names;
  std::map<std::string, std::size_t> by_voice;
  for (const LineupTrack* track : tracks_with_stems(lineup)) {
    if (!track->voice.empty()) {
      const auto [found, is_new] = by_voice.emplace(track->voice, plans.size());
      if (!is_new) {
        plans[found->second].channels.front().push_back(track);
        continue;
      }
    }
    plans.push_back({{}, {{track}}});
    names.push_back(track->voice.empty() ? track->name : track->voice);
  }
  if (!mix_channels.empty()) {
    plans.emplace_back();
    for (const LineupTrack& channel : mix_channels) plans.back().channels.push_back({&channel});
    // First come, first named: a track that is called like the mix is not taken for it.
    names.insert(names.begin(), mix_channels.front().name);
  }
  auto files = safe_file_names(names);
  if (!mix_channels.empty()) std::rotate(files.begin(), files.begin() + 1, files.end());
  const char* const ending = container == media::Container::flac ? ".flac" : ".wav";
  for (std::size_t i = 0; i < plans.size(); ++i) plans[i].file = files[i] + ending;
  return plans;
}

std::string mix_stem_name(const LineupMix& mix) {
  return std::filesystem::path(mix.file).stem().string();
}

Result<std::vector<LineupTrack>> mix_as_tracks(const Lineup& lineup,
                                               const std::filesystem::path& session_folder) {
  std::vector<LineupTrack> tracks;
  if (!lineup.mix) return tracks;
  const LineupMix& mix = *lineup.mix;
  const auto audio = media::open_audio(session_folder / mix.file);
  if (!audio) return audio.error();
  auto map = TimeMap::make(on_frames(mix.spans, mix.rate_hz));
  if (!map) return map.error();
  LineupTrack track;
  track.name = mix_stem_name(mix);
  track.rate_hz = mix.rate_hz;
  track.role = Role::mix;
  track.map = *std::move(map);
  for (int channel = 1; channel <= audio->info.channels; ++channel) {
    track.parts = {{mix.file, channel, mix.frames}};
    tracks.push_back(track);
  }
  return tracks;
}

struct StemRender::State {
  /// How many of the next frames come about in one way, up to a block.
  std::int64_t ahead() const {
    std::int64_t frames = std::min(kBlock, shape.frames - at);
    for (const auto& takes : channels)
      for (const auto& take : takes) frames = std::min(frames, take->ahead());
    return frames;
  }

  /// All takes of one channel added up: they hold different times.
  Result<Made> mix_down(std::vector<std::unique_ptr<Take>>& takes, std::span<float> added) {
    auto made = takes.front()->read(added);
    for (std::size_t i = 1; made && i < takes.size(); ++i) {
      const auto one = std::span(one_take).first(added.size());
      const auto more = takes[i]->read(one);
      if (!more) return more;
      for (std::size_t n = 0; n < added.size(); ++n) added[n] += one[n];
      const bool both = *made != Made::silence && *more != Made::silence;
      made = both ? Made::computed : std::max(*made, *more);
    }
    return made;
  }

  StemShape shape;
  std::filesystem::path file;
  media::WriterOptions format;
  std::vector<std::vector<std::unique_ptr<Take>>> channels;
  std::optional<media::AudioWriter> writer;
  SampleDigest digest;
  std::int64_t at{0};
  bool complete{false};
  std::vector<float> sum = std::vector<float>(kBlock);
  std::vector<float> one_take = std::vector<float>(kBlock);
  std::vector<float> interleaved;
};

StemRender::StemRender(const StemPlan& plan, SharedFiles& files, const StemShape& shape,
                       std::filesystem::path file, media::WriterOptions format)
    : state_(std::make_unique<State>()) {
  state_->shape = shape;
  state_->file = std::move(file);
  state_->format = std::move(format);
  if (plan.channels.size() > 1) state_->interleaved.resize(kBlock * plan.channels.size());
  for (const Takes& takes : plan.channels) {
    auto& channel = state_->channels.emplace_back();
    for (const LineupTrack* track : takes)
      channel.push_back(std::make_unique<Take>(*track, files, shape));
  }
}

StemRender::~StemRender() = default;

Result<std::int64_t> StemRender::go_on() {
  State& state = *state_;
  if (state.complete) return 0;
  if (!state.writer) {
    auto writer = media::AudioWriter::create(state.file, state.format);
    if (!writer) return writer.error();
    state.writer = *std::move(writer);
  }
  const auto count = static_cast<std::size_t>(state.ahead());
  if (count == 0) {
    if (auto ended = state.writer->end(); !ended) return ended.error();
    state.complete = true;
    state.channels.clear();
    for (auto* const room : {&state.sum, &state.one_take, &state.interleaved})
      *room = std::vector<float>();
    return 0;
  }
  const std::size_t channels = state.channels.size();
  const auto sum = std::span(state.sum).first(count);
  Made made = Made::silence;
  for (std::size_t c = 0; c < channels; ++c) {
    const auto mixed = state.mix_down(state.channels[c], sum);
    if (!mixed) return mixed.error();
    made = std::max(made, *mixed);
    if (channels == 1) break;
    for (std::size_t n = 0; n < count; ++n) state.interleaved[n * channels + c] = sum[n];
  }
  const auto samples = channels == 1 ? sum : std::span(state.interleaved).first(count * channels);
  const bool loses_bits = made == Made::computed ||
                          (made == Made::finer && !holds(whole_bits(state.shape.format), samples));
  const auto rounding = loses_bits ? media::Rounding::dithered : media::Rounding::exact;
  if (auto written = state.writer->write(samples, rounding); !written) return written.error();
  state.digest.process(state.writer->latest_as_read());
  state.at += static_cast<std::int64_t>(count);
  return static_cast<std::int64_t>(count);
}

Result<void> StemRender::finish() { return state_->writer->finish(); }

WrittenStem StemRender::written() const {
  return {state_->writer->clipped_samples(), state_->digest.value()};
}

}  // namespace kilter::conform
