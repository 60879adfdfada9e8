#include "kilter/intake/intake.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <mutex>
#include <optional>
#include <span>

#include "kilter/base/parallel.h"
#include "kilter/intake/loudness_meter.h"
#include "kilter/intake/scratch_signal.h"
#include "kilter/signal/rate_reducer.h"
#include "kilter/signal/sample_digest.h"
#include "scratch_file.h"

namespace kilter::intake {
namespace {

// Of one channel; a file of many is read in shorter blocks, down to the least.
constexpr std::size_t kReadFrames = 16384;
constexpr std::size_t kLeastReadFrames = 4096;

/// What one channel needs while its file streams by.
class ChannelTaker {
 public:
  /// Keeps no signal.
  explicit ChannelTaker(SampleRate rate) : meter_(rate) {}

  void keep_signal(std::shared_ptr<const ReducerFilter> filter,
                   std::unique_ptr<ScratchSignal> scratch) {
    reducer_.emplace(std::move(filter));
    scratch_ = std::move(scratch);
  }
  void measure_loudness(SampleRate rate) { loudness_.emplace(rate); }

  Result<void> process(std::span<const float> frames) {
    meter_.process(frames);
    digest_.process(frames);
    if (loudness_) loudness_->process(frames);
    if (!reducer_) return {};
    reduced_.clear();
    reducer_->process(frames, reduced_);
    return scratch_->append(reduced_);
  }

  Result<void> finish() {
    if (!reducer_) return {};
    reduced_.clear();
    reducer_->finish(reduced_);
    if (auto done = scratch_->append(reduced_); !done) return done;
    return scratch_->finish();
  }

  IntakeChannel take() {
    Levels levels = meter_.levels();
    if (loudness_) levels.loudness_lufs = loudness_->integrated_lufs();
    return {levels, std::move(scratch_), digest_.value(),
            -1,     meter_.envelope(),   meter_.zero_runs()};
  }

 private:
  LevelMeter meter_;
  std::optional<LoudnessMeter> loudness_;
  std::unique_ptr<ScratchSignal> scratch_;
  std::optional<RateReducer> reducer_;
  std::vector<float> reduced_;
  SampleDigest digest_;
};

Result<std::vector<ChannelTaker>> make_takers(const media::AudioInfo& info,
                                              const IntakeOptions& options) {
  std::vector<ChannelTaker> takers;
  takers.reserve(static_cast<std::size_t>(info.channels));
  for (int c = 0; c < info.channels; ++c) {
    takers.emplace_back(info.rate);
    if (options.measure_loudness) takers.back().measure_loudness(info.rate);
  }
  if (!options.keep_signals) return takers;
  const auto folder = scratch_folder(options.scratch_folder);
  if (!folder) return folder.error();
  auto signals = ScratchSignal::create(*folder, info.channels);
  if (!signals) return signals.error();
  const auto filter = std::make_shared<const ReducerFilter>(info.rate);
  for (std::size_t c = 0; c < takers.size(); ++c)
    takers[c].keep_signal(filter, std::move((*signals)[c]));
  return takers;
}

/// Where channels cancel when they are added up.
class Cancelling {
 public:
  explicit Cancelling(SampleRate rate)
      : stretch_frames_(std::max<std::int64_t>(std::llround(rate.hz * kStretch_s), 1)) {}

  void process(std::span<const float> interleaved, std::size_t channels) {
    for (std::size_t first = 0; first < interleaved.size(); first += channels) {
      float sum = 0.0F;
      float squares = 0.0F;
      for (std::size_t c = 0; c < channels; ++c) {
        const float sample = interleaved[first + c];
        sum += sample;
        squares += sample * sample;
      }
      together_ += static_cast<double>(sum * sum);
      apart_ += static_cast<double>(squares);
      if (++frames_ == stretch_frames_) end_stretch();
    }
  }
  double share() const {
    return loud_ > 0 ? static_cast<double>(cancelled_) / static_cast<double>(loud_) : 0.0;
  }

 private:
  static constexpr double kStretch_s = 0.05;
  static constexpr double kLeft = 0.1;
  static constexpr double kLoud = 1e-5;  // -50 dBFS

  void end_stretch() {
    if (apart_ > kLoud * static_cast<double>(frames_)) {
      ++loud_;
      if (together_ < kLeft * apart_) ++cancelled_;
    }
    together_ = apart_ = 0.0;
    frames_ = 0;
  }

  std::int64_t stretch_frames_;
  std::int64_t frames_{0};
  double together_{0.0};
  double apart_{0.0};
  std::int64_t loud_{0};
  std::int64_t cancelled_{0};
};

Result<void> process_block(std::span<const float> interleaved, std::vector<ChannelTaker>& takers,
                           std::vector<float>& channel) {
  const std::size_t channels = takers.size();
  if (channels == 1) return takers.front().process(interleaved);
  channel.resize(interleaved.size() / channels);
  for (std::size_t c = 0; c < channels; ++c) {
    for (std::size_t i = 0; i < channel.size(); ++i) channel[i] = interleaved[i * channels + c];
    if (auto done = takers[c].process(channel); !done) return done;
  }
  return {};
}

bool same_samples(const IntakeChannel& a, const IntakeChannel& b) {
  return a.digest == b.digest && a.levels.peak_dbfs == b.levels.peak_dbfs &&
         a.levels.rms_dbfs == b.levels.rms_dbfs;
}

void note_equal_channels(std::vector<IntakeChannel>& channels) {
  for (std::size_t c = 1; c < channels.size(); ++c) {
    const auto end = channels.begin() + static_cast<std::ptrdiff_t>(c);
    const auto twin = std::find_if(channels.begin(), end, [&](const IntakeChannel& earlier) {
      return same_samples(earlier, channels[c]);
    });
    if (twin == end) continue;
    channels[c].same_as = static_cast<int>(twin - channels.begin());
    channels[c].signal.reset();
  }
}

using FramesDone = std::function<void(Frames done, Frames claimed)>;

/// Adds what was noticed in one part of a recording, in which `before` frames come before it.
void add_notes(const media::ReadNotes& part, Frames before, media::ReadNotes& all) {
  for (media::StampJump jump : part.jumps) {
    jump.at.n += before.n;
    all.jumps.push_back(jump);
  }
  all.jump_count += part.jump_count;
  all.put_in.n += part.put_in.n;
  all.left_out.n += part.left_out.n;
  if (all.not_numbers == 0) all.first_not_number.n = before.n + part.first_not_number.n;
  all.not_numbers += part.not_numbers;
  all.missing.n += part.missing.n;
  all.unclosed = all.unclosed || part.unclosed;
  all.breaks_off = all.breaks_off || part.breaks_off;
  if (all.lost_packets == 0) all.first_loss = part.first_loss;
  all.lost_packets += part.lost_packets;
}

/// Takes in one recording, part by part, as if it were one file.
class Taker {
 public:
  Taker(const Recording& recording, const IntakeOptions& options, const FramesDone& frames_done)
      : recording_(recording),
        options_(options),
        frames_done_(frames_done),
        result_{recording.parts.front(), {}, {}, {}, {}, {}} {}

  Result<IntakeFile> take() {
    for (const std::filesystem::path& part : recording_.parts) {
      auto audio = open(part);
      if (!audio && result_.part_lengths.empty()) return audio.error();
      if (!audio) {
        Error error = audio.error();
        error.what = "its part \"" + part.filename().string() + "\" " + error.what;
        note_damage(std::move(error));
        break;
      }
      const Frames before = result_.length;
      if (auto done = read(*audio->source); !done) return done.error();
      add_notes(audio->source->notes(), before, result_.notes);
    }
    if (result_.length.n == 0)
      return Error{ErrorKind::unreadable, result_.file, "it holds no sound",
                   "ask for the file again, or take it out of the session"};
    return finish();
  }

 private:
  Result<media::OpenAudio> open(const std::filesystem::path& part) {
    auto audio = media::open_audio(part);
    if (!audio) return audio;
    if (result_.part_lengths.empty()) return begin(std::move(*audio));
    if (audio->info.rate != result_.info.rate || audio->info.channels != result_.info.channels)
      return Error{ErrorKind::unreadable, part, "has another rate or number of channels",
                   "take it out of the recording's parts"};
    result_.info.claimed_length.n += audio->info.claimed_length.n;
    return audio;
  }

  Result<media::OpenAudio> begin(media::OpenAudio audio) {
    auto takers = make_takers(audio.info, options_);
    if (!takers) return takers.error();
    takers_ = std::move(*takers);
    result_.info = audio.info;
    result_.stamp = media::read_start_stamp(result_.file);
    const std::size_t channels = takers_.size();
    if (channels > 1) cancelling_.emplace(audio.info.rate);
    interleaved_.resize(std::max(kReadFrames / channels, kLeastReadFrames) * channels);
    return audio;
  }

  /// Fails where nothing of the recording can be read, or nothing more should be.
  Result<void> read(AudioSource& source) {
    Frames& length = result_.part_lengths.emplace_back();
    while (true) {
      if (options_.stop != nullptr && options_.stop->load())
        return Error{ErrorKind::interrupted, {}, "interrupted", ""};
      const auto got = source.read(interleaved_);
      if (!got && result_.length.n == 0) return got.error();
      if (!got) note_damage(got.error());
      if (!got || got->n == 0) return {};
      const auto samples = static_cast<std::size_t>(got->n) * takers_.size();
      const std::span<const float> block = std::span(interleaved_).first(samples);
      if (cancelling_) cancelling_->process(block, takers_.size());
      if (auto done = process_block(block, takers_, channel_); !done) return done;
      length.n += got->n;
      result_.length.n += got->n;
      if (frames_done_) frames_done_(result_.length, claimed());
    }
  }

  /// Of all parts, as far as the open ones tell.
  Frames claimed() const {
    const auto open = std::ssize(result_.part_lengths);
    return {result_.info.claimed_length.n * std::ssize(recording_.parts) / open};
  }

  void note_damage(Error error) {
    if (!result_.damage) result_.damage = std::move(error);
  }

  Result<IntakeFile> finish() {
    for (ChannelTaker& taker : takers_) {
      if (auto done = taker.finish(); !done) return done.error();
      result_.channels.push_back(taker.take());
    }
    note_equal_channels(result_.channels);
    if (cancelling_) result_.cancelling_share = cancelling_->share();
    return std::move(result_);
  }

  const Recording& recording_;
  const IntakeOptions& options_;
  const FramesDone& frames_done_;
  IntakeFile result_;
  std::vector<ChannelTaker> takers_;
  std::optional<Cancelling> cancelling_;  // of a file of many channels
  std::vector<float> interleaved_;
  std::vector<float> channel_;
};

/// Adds up the progress of many files, each weighing as its bytes on disk.
class SharedProgress {
 public:
  SharedProgress(const std::vector<Recording>& recordings,
                 const std::function<void(double)>& report)
      : report_(report) {
    for (const Recording& recording : recordings) {
      files_.push_back({0.0, 0.0});
      for (const auto& file : recording.parts) {
        std::error_code code;
        const auto bytes = std::filesystem::file_size(file, code);
        if (!code) files_.back().weight += static_cast<double>(bytes);
      }
      total_ += files_.back().weight;
    }
  }

  void set(std::size_t file, double share) {
    if (!report_ || total_ <= 0.0) return;
    const std::lock_guard lock(mutex_);
    done_ += files_[file].weight * (share - files_[file].share);
    files_[file].share = share;
    report_(std::clamp(done_ / total_, 0.0, 1.0));
  }

 private:
  struct File {
    double weight;
    double share;
  };
  const std::function<void(double)>& report_;
  std::mutex mutex_;
  std::vector<File> files_;
  double total_{0.0};
  double done_{0.0};
};

double share_of(Frames done, Frames claimed) {
  return claimed.n > 0 ? std::min(1.0, static_cast<double>(done.n) / static_cast<double>(claimed.n))
                       : 0.0;
}

}  // namespace

Result<IntakeFile> take_in(const Recording& recording, const IntakeOptions& options) {
  const FramesDone frames_done = [&](Frames done, Frames claimed) {
    if (options.progress) options.progress(share_of(done, claimed));
  };
  return Taker(recording, options, frames_done).take();
}

std::vector<Result<IntakeFile>> take_in_all(const std::vector<Recording>& recordings,
                                            const IntakeOptions& options) {
  std::vector<std::optional<Result<IntakeFile>>> slots(recordings.size());
  SharedProgress progress(recordings, options.progress);
  parallel_for(static_cast<int>(recordings.size()), options.threads, [&](int index) {
    const auto i = static_cast<std::size_t>(index);
    const FramesDone frames_done = [&](Frames done, Frames claimed) {
      progress.set(i, share_of(done, claimed));
    };
    slots[i] = Taker(recordings[i], options, frames_done).take();
    progress.set(i, 1.0);
  });
  std::vector<Result<IntakeFile>> results;
  results.reserve(recordings.size());
  for (auto& slot : slots) results.push_back(*std::move(slot));
  return results;
}

bool IntakeFile::channels_cancel() const {
  constexpr double kBeyondChance = 0.05;
  return cancelling_share >= kBeyondChance;
}

std::shared_ptr<const AnalysisSignal> whole_signal(const IntakeFile& file) {
  std::vector<std::shared_ptr<const AnalysisSignal>> parts;
  const IntakeChannel* loudest = nullptr;
  for (const IntakeChannel& channel : file.channels) {
    if (!channel.signal || is_silent(channel.levels)) continue;
    parts.push_back(channel.signal);
    if (loudest == nullptr || channel.levels.rms_dbfs > loudest->levels.rms_dbfs)
      loudest = &channel;
  }
  if (parts.empty()) return nullptr;
  if (file.channels_cancel()) return loudest->signal;
  if (parts.size() == 1) return parts.front();
  return std::make_shared<MeanSignal>(std::move(parts));
}

}  // namespace kilter::intake
