#include "opus_stream.h"

#include <opus/opus.h>

#include <algorithm>
#include <array>
#include <cstdint>
#include <memory>

namespace kilter::simulator {
namespace {

constexpr int kRate_hz = 48000;
constexpr std::int64_t kPacket = 960;  // frames
constexpr int kComplexity = 10;        // libsndfile's
constexpr int kMostBytes = 4000;       // more than a packet of the highest rate
constexpr int kLeastBits = 40;         // a file's packet gets that many, however short it is

struct Destroy {
  void operator()(OpusEncoder* encoder) const noexcept { opus_encoder_destroy(encoder); }
  void operator()(OpusDecoder* decoder) const noexcept { opus_decoder_destroy(decoder); }
};

/// The shortest packet that holds the end of a stream.
std::int64_t last_packet(std::int64_t frames) {
  for (const std::int64_t length : {120, 240, 480})
    if (frames <= length) return length;
  return kPacket;
}

/// An encoder and the decoder at its other end.
class Line {
 public:
  explicit Line(int bits_per_s)
      : bits_per_s_(bits_per_s),
        encoder_(opus_encoder_create(kRate_hz, 1, OPUS_APPLICATION_AUDIO, nullptr)),
        decoder_(opus_decoder_create(kRate_hz, 1, nullptr)) {
    good_ = encoder_ && decoder_ &&
            opus_encoder_ctl(encoder_.get(), OPUS_SET_COMPLEXITY(kComplexity)) == OPUS_OK &&
            opus_encoder_ctl(encoder_.get(), OPUS_GET_LOOKAHEAD(&lookahead_)) == OPUS_OK;
  }

  bool good() const { return good_; }
  std::int64_t lookahead() const { return lookahead_; }

  /// Hands over `frames` of `from` and adds what comes out to `out`.
  void send(const float* from, std::int64_t frames, std::vector<float>& out) {
    const int least = kLeastBits * static_cast<int>(kRate_hz / frames);
    opus_encoder_ctl(encoder_.get(), OPUS_SET_BITRATE(std::max(bits_per_s_, least)));
    const int bytes = opus_encode_float(encoder_.get(), from, static_cast<int>(frames),
                                        packet_.data(), kMostBytes);
    const std::size_t before = out.size();
    out.resize(before + static_cast<std::size_t>(frames));
    good_ = good_ && bytes > 0 &&
            opus_decode_float(decoder_.get(), packet_.data(), bytes, out.data() + before,
                              static_cast<int>(frames), 0) == frames;
  }

 private:
  int bits_per_s_;
  std::unique_ptr<OpusEncoder, Destroy> encoder_;
  std::unique_ptr<OpusDecoder, Destroy> decoder_;
  std::array<unsigned char, kMostBytes> packet_{};
  opus_int32 lookahead_{0};
  bool good_{false};
};

}  // namespace

std::optional<std::vector<float>> through_opus(std::span<const float> samples, int bits_per_s) {
  Line line(bits_per_s);
  if (!line.good()) return {};
  const auto length = static_cast<std::int64_t>(samples.size());
  const std::int64_t end = length + line.lookahead();
  std::vector<float> out;
  out.reserve(static_cast<std::size_t>(end + 2 * kPacket));
  std::int64_t at = 0;
  for (; at + kPacket < length; at += kPacket) line.send(samples.data() + at, kPacket, out);
  // The rest is filled up with zeros. Where what the encoder still holds needs a packet more, a
  // file's writer sends the same once again, and so it is here.
  std::array<float, kPacket> rest{};
  std::copy(samples.begin() + at, samples.end(), rest.begin());
  for (; at + kPacket < end; at += kPacket) line.send(rest.data(), kPacket, out);
  line.send(rest.data(), last_packet(end - at), out);
  if (!line.good()) return {};
  out.erase(out.begin(), out.begin() + line.lookahead());
  out.resize(samples.size());
  return out;
}

}  // namespace kilter::simulator
