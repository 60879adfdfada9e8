#include "libav_source.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <cstddef>
#include <deque>
#include <utility>
#include <vector>

#include "claimed_size.h"
#include "libav_decoder.h"
#include "libav_facts.h"
#include "libav_open.h"
#include "non_numbers.h"
#include "reading_limits.h"
#include "stamp_keeper.h"

namespace kilter::media {
namespace {

// Pieces in sight: a late stamp is told from a leap by those that follow it.
constexpr std::size_t kLookAhead = 6;
constexpr double kJump_s = 0.010;
constexpr double kJumpTicks = 2.0;
// Its packets hold parts of frames, so that stamps stray by a frame or two.
constexpr double kWindowsMediaJump_s = 0.2;
// Overlaps are packets that came twice. Stamps that go back further were started anew.
constexpr double kMostOverlap_s = 10.0;
// A hundred bytes may claim hours: silence is believed as long as sound bears it out.
constexpr double kSilenceBeyondSound_s = 3600.0;
constexpr std::size_t kMostJumpsKept = 10000;
// A container's rounding is less, and what coders put before and behind the sound.
constexpr double kClaimRoundsBy_s = 0.1;
constexpr std::int64_t kMostPadding_frames = 4096;

StampKeeper::Tolerance tolerance_for(const AVStream& stream, int rate_hz) {
  const double tick = tick_frames(stream, rate_hz);
  const double jump_s = is_windows_media(stream.codecpar->codec_id) ? kWindowsMediaJump_s : kJump_s;
  return {std::llround(std::max(jump_s * rate_hz, kJumpTicks * tick)), tick,
          std::llround(kMostOverlap_s * rate_hz)};
}

class LibavSource final : public FileSource {
 public:
  LibavSource(OpenedByLibav opened, const std::filesystem::path& file)
      : file_(file), decoder_(std::move(opened), file, notes_) {}

  /// Decodes the first pieces: only they tell rate and channels for certain.
  std::optional<Error> start() {
    if (const auto first = look_ahead(); !first) {
      if (decoder_.failure()) return *decoder_.failure();
      return unreadable(file_, "it holds no sound that can be decoded",
                        "check that it plays elsewhere, or copy it again");
    }
    keeper_.emplace(tolerance_for(*decoder_.opened().stream, decoder_.rate_hz()));
    return std::nullopt;
  }
  const LibavDecoder& decoder() const { return decoder_; }
  std::optional<std::int64_t> first_stamp() const { return ahead_.front().stamped.stamp; }
  void note_break() { notes_.breaks_off = true; }
  void claim(Frames length) { claimed_length_ = length; }

  SampleRate rate() const override { return {static_cast<double>(decoder_.rate_hz())}; }
  int channels() const override { return decoder_.channels(); }
  Frames claimed_length() const override { return claimed_length_; }
  const ReadNotes& notes() const override { return notes_; }

  Result<Frames> read(std::span<float> interleaved) override {
    assert(std::ssize(interleaved) % channels() == 0);
    const std::int64_t asked = std::ssize(interleaved) / channels();
    std::int64_t total = 0;
    while (total < asked) {
      if (silence_left_ == 0 && ready_.size() == taken_ && !advance()) break;
      total += take(interleaved.subspan(static_cast<std::size_t>(total * channels())));
    }
    if (total == 0 && asked > 0 && failure_) return *failure_;
    return Frames{total};
  }

 private:
  /// Whether anything is in sight.
  bool look_ahead() {
    while (ahead_.size() < kLookAhead) {
      auto piece = decoder_.next();
      if (!piece) break;
      ahead_.push_back(*std::move(piece));
    }
    return !ahead_.empty();
  }

  /// The next piece into ready_, with the silence before it. False at the end.
  bool advance() {
    if (failure_ || ended_) return false;
    if (!look_ahead()) {
      end(decoder_.failure());
      return false;
    }
    stamps_.clear();
    for (const Unpacked& piece : ahead_) stamps_.push_back(piece.stamped);
    const StampAction action = keeper_->next(stamps_);
    if (!believe(action)) return false;
    Unpacked piece = std::move(ahead_.front());
    ahead_.pop_front();
    if (ahead_.empty()) cut_padding(piece);
    ready_ = std::move(piece.sound);
    taken_ = std::min(ready_.size(), samples_in(action.leave_out));
    decoded_ += piece.stamped.frames;
    silence_left_ = action.put_in;
    if (to_seconds({position_ + silence_left_}, rate()).s > static_cast<double>(kLongest_s))
      end(too_long(file_));
    return !failure_;
  }

  std::size_t samples_in(std::int64_t frames) const {
    return static_cast<std::size_t>(frames * channels());
  }

  /// The last packet is filled up to a whole one. Where the container counts in frames it tells,
  /// give or take the millisecond to which an edit list is rounded, which must cost no sound.
  void cut_padding(Unpacked& piece) const {
    const AVStream& stream = *decoder_.opened().stream;
    if (!is_lossy(stream.codecpar->codec_id) || tick_frames(stream, decoder_.rate_hz()) > 1.0)
      return;
    const std::int64_t kept = piece.lasts + decoder_.rate_hz() / 1000;
    if (piece.lasts <= 0 || kept >= piece.stamped.frames) return;
    piece.sound.resize(samples_in(kept));
    piece.stamped.frames = kept;
  }

  /// Notes a leap. False where it is too far to be true.
  bool believe(const StampAction& action) {
    if (action.jump != 0) {
      const double silence_s = to_seconds({notes_.put_in.n + action.put_in}, rate()).s;
      if (silence_s > kSilenceBeyondSound_s + to_seconds({decoded_}, rate()).s) {
        end(damaged(file_, position_, "its time stamps leap there further than can be true"));
        return false;
      }
      note_jump(action);
    }
    if (action.leave_out > 0) {
      if (!notes_.jumps.empty()) notes_.jumps.back().left_out.n += action.leave_out;
      notes_.left_out.n += action.leave_out;
    }
    return true;
  }

  void note_jump(const StampAction& action) {
    ++notes_.jump_count;
    notes_.put_in.n += action.put_in;
    if (notes_.jumps.size() < kMostJumpsKept)
      notes_.jumps.push_back({{position_}, {action.jump}, {action.put_in}, {}});
  }

  /// From the silence first, then from the piece; frames.
  std::int64_t take(std::span<float> out) {
    const std::int64_t room = std::ssize(out) / channels();
    if (silence_left_ > 0) {
      const std::int64_t frames = std::min(room, silence_left_);
      std::fill_n(out.begin(), samples_in(frames), 0.0F);
      silence_left_ -= frames;
      position_ += frames;
      return frames;
    }
    const std::size_t samples = std::min(samples_in(room), ready_.size() - taken_);
    std::copy_n(ready_.begin() + static_cast<std::ptrdiff_t>(taken_), samples, out.begin());
    silence_non_numbers(out.first(samples), channels(), {position_}, notes_);
    taken_ += samples;
    const auto frames = static_cast<std::int64_t>(samples) / channels();
    position_ += frames;
    return frames;
  }

  void end(const std::optional<Error>& failure) {
    failure_ = failure;
    ended_ = true;
    const std::int64_t missing = claimed_length_.n - position_;
    const bool is_less = to_seconds({missing}, rate()).s > kClaimRoundsBy_s;
    if (is_less && missing > kMostPadding_frames) notes_.missing = {missing};
    notes_.breaks_off = notes_.breaks_off || decoder_.loss_at_end();
  }

  std::filesystem::path file_;
  ReadNotes notes_;
  LibavDecoder decoder_;
  std::optional<StampKeeper> keeper_;
  Frames claimed_length_;
  std::deque<Unpacked> ahead_;
  std::vector<Stamped> stamps_;
  std::vector<float> ready_;
  std::size_t taken_{0};  // samples of ready_ that were delivered or left out
  std::int64_t silence_left_{0};
  std::int64_t position_{0};
  std::int64_t decoded_{0};
  bool ended_{false};
  std::optional<Error> failure_;
};

}  // namespace

bool reads_video_files() { return true; }

Result<OpenAudio> open_with_libav(const std::shared_ptr<FileInput>& input, bool lacks_end) {
  auto opened = open_by_libav(input);
  if (!opened) return opened.error();
  // Half of what an index or a header says is worse than nothing.
  if (input->problem() != 0) return not_to_be_read(input->file(), input->problem());
  auto source = std::make_unique<LibavSource>(*std::move(opened), input->file());
  if (auto error = source->start()) return *std::move(error);
  OpenAudio audio;
  const LibavDecoder& decoder = source->decoder();
  audio.info = facts_of(decoder.opened(), decoder.rate_hz(), decoder.channels(),
                        source->first_stamp(), decoder.skips_lead_in());
  source->claim(audio.info.claimed_length);
  if (lacks_end || cut_sound(*input)) source->note_break();
  audio.source = std::move(source);
  return audio;
}

}  // namespace kilter::media
