#include "kilter/intake/intake.h"

#include <algorithm>
#include <array>
#include <bit>
#include <mutex>
#include <span>
#include <system_error>

#include "kilter/base/parallel.h"
#include "kilter/intake/scratch_signal.h"
#include "kilter/signal/rate_reducer.h"
#include "kilter/signal/wide_loops.h"

namespace kilter::intake {
namespace {

// Small: a file of 64 channels holds as many of each.
constexpr std::size_t kReadFrames = 4096;

/// Sums of the samples' bits and sums of those sums: lanes by turns, as vectors hold them.
struct DigestLanes {
  static constexpr std::size_t kCount = 8;
  std::array<std::uint32_t, kCount> plain{};
  std::array<std::uint32_t, kCount> weighted{};  // by how long ago a sample came
};

/// `frames` a multiple of 8.
KILTER_WIDE void add_to(DigestLanes& lanes, std::span<const float> frames) {
  using Words8 = std::uint32_t __attribute__((vector_size(32)));
  Words8 plain{}, weighted{}, bits{};
  load(lanes.plain.data(), plain);
  load(lanes.weighted.data(), weighted);
  for (std::size_t i = 0; i < frames.size(); i += 8) {
    load(&frames[i], bits);
    plain += bits;
    weighted += plain;
  }
  store(plain, lanes.plain.data());
  store(weighted, lanes.weighted.data());
}

/// A number that tells channels apart by their samples, however they come in blocks.
class Digest {
 public:
  void process(std::span<const float> frames) {
    const std::size_t head = std::min(frames.size(), (kLanes - count_ % kLanes) % kLanes);
    add_each(frames.first(head));
    frames = frames.subspan(head);
    const std::size_t whole = frames.size() / kLanes * kLanes;
    add_to(lanes_, frames.first(whole));
    count_ += whole;
    add_each(frames.subspan(whole));
  }
  std::uint64_t value() const {
    std::uint64_t all = count_;
    for (std::size_t lane = 0; lane < kLanes; ++lane)
      all = mixed(all ^ (all >> 32U) ^
                  mixed(lanes_.plain[lane] | std::uint64_t{lanes_.weighted[lane]} << 32U));
    return all;
  }

 private:
  static constexpr std::size_t kLanes = DigestLanes::kCount;

  static std::uint64_t mixed(std::uint64_t word) {
    word *= 0x9E3779B97F4A7C15U;
    return word ^ (word >> 29U);
  }
  void add_each(std::span<const float> frames) {
    for (const float sample : frames) {
      const std::size_t lane = count_++ % kLanes;
      lanes_.plain[lane] += std::bit_cast<std::uint32_t>(sample);
      lanes_.weighted[lane] += lanes_.plain[lane];
    }
  }

  DigestLanes lanes_;
  std::size_t count_{0};
};

/// What one channel needs while its file streams by.
class ChannelTaker {
 public:
  /// Keeps no signal.
  explicit ChannelTaker(SampleRate rate) : meter_(rate) {}
  ChannelTaker(SampleRate rate, std::shared_ptr<const ReducerFilter> filter,
               std::unique_ptr<ScratchSignal> scratch)
      : meter_(rate), scratch_(std::move(scratch)) {
    reducer_.emplace(std::move(filter));
  }

  Result<void> process(std::span<const float> frames) {
    meter_.process(frames);
    digest_.process(frames);
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

  IntakeChannel take() { return {meter_.levels(), std::move(scratch_), digest_.value(), -1}; }

 private:
  LevelMeter meter_;
  std::unique_ptr<ScratchSignal> scratch_;
  std::optional<RateReducer> reducer_;
  std::vector<float> reduced_;
  Digest digest_;
};

Result<std::filesystem::path> scratch_folder(const IntakeOptions& options) {
  if (!options.scratch_folder.empty()) return options.scratch_folder;
  std::error_code code;
  auto folder = std::filesystem::temp_directory_path(code);
  if (!code) return folder;
  return Error{ErrorKind::cannot_write,
               {},
               "the folder for temporary files cannot be used (" + code.message() + ")",
               "set TMPDIR to a folder that is there, with room for 120 MB per track and hour"};
}

Result<std::vector<ChannelTaker>> make_takers(const media::AudioInfo& info,
                                              const IntakeOptions& options) {
  std::vector<ChannelTaker> takers;
  takers.reserve(static_cast<std::size_t>(info.channels));
  if (!options.keep_signals) {
    for (int c = 0; c < info.channels; ++c) takers.emplace_back(info.rate);
    return takers;
  }
  const auto folder = scratch_folder(options);
  if (!folder) return folder.error();
  auto signals = ScratchSignal::create(*folder, info.channels);
  if (!signals) return signals.error();
  const auto filter = std::make_shared<const ReducerFilter>(info.rate);
  for (auto& signal : *signals) takers.emplace_back(info.rate, filter, std::move(signal));
  return takers;
}

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

Result<IntakeFile> take_in_file(const std::filesystem::path& file, const IntakeOptions& options,
                                const FramesDone& frames_done) {
  auto audio = media::open_audio(file);
  if (!audio) return audio.error();
  auto takers = make_takers(audio->info, options);
  if (!takers) return takers.error();

  IntakeFile result{file, audio->info, {}, {}, {}};
  const std::size_t channels = takers->size();
  std::vector<float> interleaved(kReadFrames * channels);
  std::vector<float> channel;
  while (true) {
    if (options.stop != nullptr && options.stop->load())
      return Error{ErrorKind::interrupted, {}, "interrupted", ""};
    const auto got = audio->source->read(interleaved);
    if (!got && result.length.n == 0) return got.error();
    if (!got) {
      result.damage = got.error().what;
      break;
    }
    if (got->n == 0) break;
    const std::span block(interleaved.data(), static_cast<std::size_t>(got->n) * channels);
    if (auto done = process_block(block, *takers, channel); !done) return done.error();
    result.length.n += got->n;
    if (frames_done) frames_done(result.length, audio->info.claimed_length);
  }
  if (result.length.n == 0)
    return Error{ErrorKind::unreadable, file, "it holds no sound",
                 "ask for the file again, or take it out of the session"};
  for (ChannelTaker& taker : *takers) {
    if (auto done = taker.finish(); !done) return done.error();
    result.channels.push_back(taker.take());
  }
  note_equal_channels(result.channels);
  return result;
}

/// Adds up the progress of many files, each weighing as its bytes on disk.
class SharedProgress {
 public:
  SharedProgress(const std::vector<std::filesystem::path>& files,
                 const std::function<void(double)>& report)
      : report_(report) {
    for (const auto& file : files) {
      std::error_code code;
      const auto bytes = std::filesystem::file_size(file, code);
      files_.push_back({code ? 0.0 : static_cast<double>(bytes), 0.0});
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

Result<IntakeFile> take_in(const std::filesystem::path& file, const IntakeOptions& options) {
  return take_in_file(file, options, [&](Frames done, Frames claimed) {
    if (options.progress) options.progress(share_of(done, claimed));
  });
}

std::vector<Result<IntakeFile>> take_in_all(const std::vector<std::filesystem::path>& files,
                                            const IntakeOptions& options) {
  std::vector<std::optional<Result<IntakeFile>>> slots(files.size());
  SharedProgress progress(files, options.progress);
  parallel_for(static_cast<int>(files.size()), options.threads, [&](int index) {
    const auto i = static_cast<std::size_t>(index);
    slots[i] = take_in_file(files[i], options, [&](Frames done, Frames claimed) {
      progress.set(i, share_of(done, claimed));
    });
    progress.set(i, 1.0);
  });
  std::vector<Result<IntakeFile>> results;
  results.reserve(files.size());
  for (auto& slot : slots) results.push_back(*std::move(slot));
  return results;
}

std::shared_ptr<const AnalysisSignal> whole_signal(const IntakeFile& file) {
  std::vector<std::shared_ptr<const AnalysisSignal>> parts;
  for (const IntakeChannel& channel : file.channels)
    if (channel.signal && !is_silent(channel.levels)) parts.push_back(channel.signal);
  if (parts.empty()) return nullptr;
  if (parts.size() == 1) return parts.front();
  return std::make_shared<MeanSignal>(std::move(parts));
}

}  // namespace kilter::intake
