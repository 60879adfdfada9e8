// A file that goes on behind damage where the library that reads it gives up.
#pragma once

#include <filesystem>
#include <functional>
#include <memory>

#include "kilter/media/audio_file.h"

namespace kilter::media {

/// Reads from `first` as long as that goes; where it fails, opens the file again by `open_other`
/// and reads on from the same frame, which that reader must count alike. What `first` said of its
/// failure stands where the other finds nothing more.
class ResumingSource final : public FileSource {
 public:
  using OpenOther = std::function<Result<OpenAudio>()>;

  ResumingSource(std::unique_ptr<FileSource> first, OpenOther open_other)
      : source_(std::move(first)), open_other_(std::move(open_other)) {}

  SampleRate rate() const override { return source_->rate(); }
  int channels() const override { return source_->channels(); }
  Frames claimed_length() const override { return source_->claimed_length(); }
  const ReadNotes& notes() const override { return source_->notes(); }
  Result<Frames> read(std::span<float> interleaved) override;

 private:
  std::unique_ptr<FileSource> brought_here();

  std::unique_ptr<FileSource> source_;
  OpenOther open_other_;  // empty once it was tried
  Frames position_;
};

}  // namespace kilter::media
