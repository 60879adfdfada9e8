#include "kilter/media/audio_file.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <memory>
#include <optional>
#include <string>
#include <system_error>
#include <utility>

#include "container_names.h"
#include "libav_source.h"
#include "reading_limits.h"
#include "resuming_source.h"
#include "sndfile_source.h"

namespace kilter::media {
namespace {

std::string lower_ending(const std::filesystem::path& file) {
  std::string ending = file.extension().string();
  for (char& letter : ending)
    letter = static_cast<char>(std::tolower(static_cast<unsigned char>(letter)));
  return ending;
}

/// What can be said better than the library would, before it is asked.
std::optional<Error> refusal(const std::filesystem::path& file) {
  namespace fs = std::filesystem;
  std::error_code problem;
  const fs::file_status status = fs::status(file, problem);
  if (status.type() == fs::file_type::not_found)
    return unreadable(file, "there is no such file", "check its name and folder");
  if (problem) return unreadable(file, problem.message(), "check its folder and your rights");
  if (fs::is_directory(status))
    return unreadable(file, "it is a folder", "name an audio file inside it");
  if (!fs::is_regular_file(status))
    return unreadable(file, "it is not an ordinary file", "name an audio file");
  const std::uintmax_t size = fs::file_size(file, problem);
  if (!problem && size == 0)
    return unreadable(file, "the file is empty", "copy it again from where it was recorded");
  return std::nullopt;
}

/// For what libsndfile does not read.
Result<OpenAudio> open_other(const std::shared_ptr<FileInput>& input, const std::string& head,
                             const Error& sndfile_says) {
  const auto name = container_name(head);
  if (reads_video_files() && name) return open_with_libav(input);
  if (reads_video_files() && lower_ending(input->file()) == ".mp3") {
    auto audio = open_with_libav(input);  // some begin with anything
    return audio ? std::move(audio) : Result<OpenAudio>(sndfile_says);
  }
  if (const auto other = sound_name(head); !name && other && !sndfile_reads(*other))
    return unreadable(input->file(), "it is " + *other + ", which is not read",
                      "convert it to WAV or FLAC with a program that plays it");
  if (!name || sndfile_reads(*name)) return sndfile_says;
  return unreadable(input->file(), "it is " + *name + ", which this build of kilter does not read",
                    "install libavformat-dev, libavcodec-dev and libavutil-dev (FFmpeg's "
                    "libraries) and build kilter again, or convert the file to WAV or FLAC");
}

/// By the library that reads such files best. Where that fails for a place that cannot be read,
/// `input` tells its problem, and no other library is asked: it might read on otherwise.
Result<OpenAudio> open_by_head(const std::shared_ptr<FileInput>& input, const std::string& head) {
  // libsndfile gives up at the first damage of an MP3 file, and its decoder prints: it is not asked
  // even about what the other one refuses.
  if (reads_video_files() && container_name(head) == "MP3") return open_with_libav(input);
  if (is_w64_of_extensible_floats(head)) {
    if (reads_video_files()) {
      auto audio = open_with_libav(input);
      if (audio) audio->info.format = "W64 " + audio->info.format + " float";
      return audio;
    }
    return unreadable(input->file(), "it is a W64 file of floats that libsndfile would misread",
                      "install libavformat-dev, libavcodec-dev and libavutil-dev (FFmpeg's "
                      "libraries) and build kilter again, or convert the file to WAV or FLAC");
  }
  auto opened = open_with_sndfile(input);
  if (!opened && input->problem() != 0) return opened.error();
  if (!opened) return open_other(input, head, opened.error());
  if (reads_video_files() && opened->loses_sound)
    if (auto audio = open_with_libav(input, opened->audio.source->notes().breaks_off);
        audio || input->problem() != 0)
      return audio;
  if (reads_video_files() && opened->audio.info.format.starts_with("FLAC"))
    opened->audio.source = std::make_unique<ResumingSource>(
        std::move(opened->audio.source), [file = input->file()]() -> Result<OpenAudio> {
          const auto again = std::make_shared<FileInput>(file);
          if (!again->is_open()) return not_to_be_opened(file, again->problem());
          return open_with_libav(again);
        });
  return std::move(opened->audio);
}

}  // namespace

Result<OpenAudio> open_audio(const std::filesystem::path& file) {
  if (auto error = refusal(file)) return *std::move(error);
  const auto input = std::make_shared<FileInput>(file);
  if (!input->is_open()) return not_to_be_opened(file, input->problem());
  const std::string head = head_of(*input);
  if (input->problem() != 0) return not_to_be_read(file, input->problem());
  auto audio = open_by_head(input, head);
  if (!audio && input->problem() != 0) return not_to_be_read(file, input->problem());
  return audio;
}

bool has_audio_name(const std::filesystem::path& file) {
  static constexpr std::array kEndings{
      ".wav",  ".wave", ".bwf", ".bw64", ".rf64", ".w64", ".aif",  ".aiff", ".aifc", ".caf",
      ".flac", ".ogg",  ".oga", ".opus", ".mp3",  ".mp2", ".mp1",  ".mpga", ".au",   ".snd",
      ".m4a",  ".m4b",  ".aac", ".adts", ".mp4",  ".m4v", ".mov",  ".qt",   ".3gp",  ".3g2",
      ".webm", ".weba", ".mka", ".mkv",  ".amr",  ".awb", ".alac", ".wma",  ".wmv",  ".asf"};
  const std::string ending = lower_ending(file);
  return std::any_of(kEndings.begin(), kEndings.end(),
                     [&](const char* known) { return ending == known; });
}

bool begins_like_audio(const std::filesystem::path& file) {
  std::error_code problem;
  if (!std::filesystem::is_regular_file(file, problem)) return false;
  FileInput input(file);
  return input.is_open() && sound_name(head_of(input)).has_value();
}

}  // namespace kilter::media
