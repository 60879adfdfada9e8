#include "kilter/media/stretch_reader.h"

#include <cassert>
#include <string>
#include <utility>

#include "reading_limits.h"
#include "sndfile_input.h"

namespace kilter::media {

struct StretchReader::State {
  explicit State(const std::filesystem::path& file) : input(std::make_shared<FileInput>(file)) {}

  SndfileInput input;
  SF_INFO header{};
  SndfileHandle handle;  // reads through input
};

Result<StretchReader> StretchReader::open(const std::filesystem::path& file) {
  auto state = std::make_unique<State>(file);
  const FileInput& bytes = state->input.file();
  if (!bytes.is_open()) return not_to_be_opened(file, bytes.problem());
  std::string words;
  state->handle = state->input.open(state->header, words);
  if (bytes.problem() != 0) return not_to_be_read(file, bytes.problem());
  if (!state->handle || state->header.frames <= 0)
    return unreadable(file, "it holds no sound (libsndfile: " + words + ")", "make it again");
  return StretchReader(std::move(state));
}

StretchReader::StretchReader(std::unique_ptr<State> state) : state_(std::move(state)) {}
StretchReader::StretchReader(StretchReader&&) noexcept = default;
StretchReader& StretchReader::operator=(StretchReader&&) noexcept = default;
StretchReader::~StretchReader() = default;

SampleRate StretchReader::rate() const { return {static_cast<double>(state_->header.samplerate)}; }
int StretchReader::channels() const { return state_->header.channels; }
Frames StretchReader::length() const { return {state_->header.frames}; }

Result<void> StretchReader::read(Frames first, std::span<float> interleaved) {
  assert(std::ssize(interleaved) % channels() == 0);
  const sf_count_t asked = std::ssize(interleaved) / channels();
  sf_count_t got = 0;
  if (sf_seek(state_->handle.get(), first.n, SEEK_SET) == first.n)
    got = sf_readf_float(state_->handle.get(), interleaved.data(), asked);
  const FileInput& bytes = state_->input.file();
  if (bytes.problem() != 0) return not_to_be_read(bytes.file(), bytes.problem());
  if (got != asked)
    return damaged(bytes.file(), first.n + got, "libsndfile: not all of a stretch is there");
  return {};
}

}  // namespace kilter::media
