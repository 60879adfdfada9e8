#include <algorithm>
#include <mutex>
#include <string>
#include <vector>

#include "note_texts.h"
#include "sndfile_handle.h"
#include "sound_sink.h"

namespace kilter::media {
namespace {

sf_count_t length_of(void* output) { return static_cast<FileOutput*>(output)->length(); }
sf_count_t position_of(void* output) { return static_cast<FileOutput*>(output)->position(); }
sf_count_t read_nothing(void* /*out*/, sf_count_t /*bytes*/, void* /*output*/) { return 0; }

sf_count_t seek_in(sf_count_t offset, int whence, void* user) {
  auto& output = *static_cast<FileOutput*>(user);
  if (whence == SEEK_CUR) offset += output.position();
  if (whence == SEEK_END) offset += output.length();
  output.seek(offset);
  return offset;
}

sf_count_t write_to(const void* bytes, sf_count_t count, void* user) {
  auto& output = *static_cast<FileOutput*>(user);
  const std::span from(static_cast<const char*>(bytes), static_cast<std::size_t>(count));
  return output.write(from) ? count : 0;
}

std::string joined(const std::vector<std::string>& names) {
  std::string all;
  for (const std::string& name : names) {
    if (!all.empty() && !name.empty()) all += ", ";
    all += name;
  }
  return all;
}

class FlacSink : public SoundSink {
 public:
  FlacSink(const WriterOptions& options, FileOutput& output)
      : bits_(facts_of(options.format).bits), channels_(options.channels) {
    SF_INFO info{};
    info.samplerate = static_cast<int>(options.rate.hz);
    info.channels = channels_;
    info.format = SF_FORMAT_FLAC | (bits_ == 16 ? SF_FORMAT_PCM_16 : SF_FORMAT_PCM_24);
    SF_VIRTUAL_IO io{length_of, seek_in, read_nothing, write_to, position_of};
    const std::lock_guard lock(sndfile_open_mutex());
    handle_.reset(sf_open_virtual(&io, SFM_WRITE, &info, &output));
    if (!handle_) words_ = sf_strerror(nullptr);
    if (handle_ && options.notes) set_notes(*options.notes);
  }

  bool is_open() const { return handle_ != nullptr; }
  std::string words() const override { return words_; }

  bool write(std::span<const std::int32_t> samples) override {
    left_justified_.resize(samples.size());
    std::transform(samples.begin(), samples.end(), left_justified_.begin(),
                   [factor = 1 << (32 - bits_)](std::int32_t step) { return step * factor; });
    const sf_count_t frames = std::ssize(samples) / channels_;
    if (sf_writef_int(handle_.get(), left_justified_.data(), frames) == frames) return true;
    words_ = sf_strerror(handle_.get());
    return false;
  }

  bool finish(Frames length) override {
    // Without sound the library would write no header either.
    if (length.n == 0) sf_command(handle_.get(), SFC_UPDATE_HEADER_NOW, nullptr, 0);
    const int problem = sf_close(handle_.release());
    words_ = sf_error_number(problem);
    return problem == 0;
  }

 private:
  void set_notes(const BroadcastNotes& notes) {
    set_text(SF_STR_TITLE, joined(notes.track_names));
    set_text(SF_STR_ALBUM, notes.project);
    set_text(SF_STR_COMMENT, notes.description);
    set_text(SF_STR_DATE, notes.origination_date);
    set_text(SF_STR_SOFTWARE, notes.originator);
  }
  void set_text(int kind, const std::string& text) {
    if (!text.empty()) sf_set_string(handle_.get(), kind, one_line(text).c_str());
  }

  int bits_;
  int channels_;
  std::string words_;
  SndfileHandle handle_;
  std::vector<std::int32_t> left_justified_;
};

}  // namespace

std::unique_ptr<SoundSink> make_flac_sink(const WriterOptions& options, FileOutput& output,
                                          std::string& words) {
  auto sink = std::make_unique<FlacSink>(options, output);
  if (sink->is_open()) return sink;
  words = sink->words();
  return nullptr;
}

}  // namespace kilter::media
