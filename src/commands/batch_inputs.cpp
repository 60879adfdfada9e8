#include "batch_inputs.h"

#include <fmt/format.h>
#include <sys/stat.h>

#include <algorithm>
#include <span>
#include <string>

#include "kilter/base/file_input.h"
#include "kilter/media/audio_file.h"
#include "kilter/session/names.h"
#include "kilter/signal/sample_digest.h"

namespace kilter::commands {
namespace {

namespace fs = std::filesystem;

std::int64_t changed_ns(const struct stat& status) {
#ifdef __APPLE__
  const auto& time = status.st_mtimespec;
#else
  const auto& time = status.st_mtim;
#endif
  return static_cast<std::int64_t>(time.tv_sec) * 1000000000 + time.tv_nsec;
}

InputMark mark_of(const fs::path& file, std::string name) {
  InputMark mark;
  mark.file = std::move(name);
  struct stat status {};
  if (::stat(file.c_str(), &status) == 0) {
    mark.bytes = static_cast<std::uint64_t>(status.st_size);
    mark.time_ns = changed_ns(status);
  }
  return mark;
}

std::string digest_of(const fs::path& path, const std::atomic<bool>& stop) {
  FileInput file(path);
  std::vector<float> block(std::size_t{1} << 18U);
  const std::span bytes(reinterpret_cast<char*>(block.data()), block.size() * sizeof(float));
  SampleDigest digest;
  std::int64_t offset = 0;
  std::int64_t got = 0;
  do {
    std::fill(block.begin(), block.end(), 0.0F);  // so that the last bytes fill a whole sample
    got = file.read_at(bytes, offset);
    const auto samples = (static_cast<std::size_t>(got) + sizeof(float) - 1) / sizeof(float);
    digest.process(std::span(block).first(samples));
    offset += got;
  } while (got == static_cast<std::int64_t>(bytes.size()) && !stop.load());
  return file.problem() != 0 ? std::string() : fmt::format("{:016x}", digest.value());
}

bool is_session_file(const fs::path& file) {
  return session::lower(file.filename().string()) == "session.toml";
}

/// One mark for each name, in order.
std::vector<InputMark> in_order(std::vector<InputMark> marks) {
  std::sort(marks.begin(), marks.end(),
            [](const InputMark& a, const InputMark& b) { return a.file < b.file; });
  const auto last =
      std::unique(marks.begin(), marks.end(),
                  [](const InputMark& a, const InputMark& b) { return a.file == b.file; });
  marks.erase(last, marks.end());
  return marks;
}

}  // namespace

Result<std::vector<InputMark>> inputs_of_session(const fs::path& folder,
                                                 const std::optional<fs::path>& mix) {
  const auto session = session::open_session({folder}, mix);
  if (!session) return session.error();
  std::vector<InputMark> marks;
  for (const session::SessionFile& file : session->files) {
    marks.push_back(mark_of(file.path, file.name));
    for (const session::FilePart& part : file.later_parts)
      marks.push_back(mark_of(part.path, part.name));
  }
  for (const session::LeftOut& each : session->left_out) {
    InputMark& mark = marks.emplace_back();
    mark.file = each.name;  // that it is there is all that counts
  }
  std::error_code code;
  for (fs::directory_iterator entry(folder, code), end; !code && entry != end;
       entry.increment(code))
    if (is_session_file(entry->path()))
      marks.push_back(mark_of(entry->path(), entry->path().filename().string()));
  return in_order(std::move(marks));
}

Result<std::vector<InputMark>> inputs_of_result(const fs::path& folder) {
  std::error_code code;
  std::vector<InputMark> marks;
  for (fs::directory_iterator entry(folder / "stems", code), end; !code && entry != end;
       entry.increment(code))
    if (entry->is_regular_file(code))
      marks.push_back(mark_of(entry->path(), "stems/" + entry->path().filename().string()));
  if (!fs::is_regular_file(folder / "lineup.json", code) || marks.empty())
    return Error{ErrorKind::no_input, folder, "holds no stems to check",
                 "run kilter batch without --check-only first"};
  marks.push_back(mark_of(folder / "lineup.json", "lineup.json"));
  return in_order(std::move(marks));
}

Result<void> add_digests(const fs::path& folder, std::vector<InputMark>& inputs,
                         const std::atomic<bool>& stop) {
  for (InputMark& input : inputs) {
    const fs::path file = folder / input.file;
    std::error_code code;
    if (fs::is_regular_file(file, code)) input.digest = digest_of(file, stop);
    if (stop.load()) return Error{ErrorKind::interrupted, {}, "interrupted", ""};
  }
  return {};
}

Result<bool> are_unchanged(const fs::path& folder, const std::vector<InputMark>& known,
                           const std::vector<InputMark>& present, const std::atomic<bool>& stop) {
  const auto alike = [](const InputMark& a, const InputMark& b) {
    return a.file == b.file && a.bytes == b.bytes;
  };
  if (!std::equal(known.begin(), known.end(), present.begin(), present.end(), alike)) return false;
  for (std::size_t i = 0; i < known.size(); ++i) {
    if (known[i].time_ns == present[i].time_ns) continue;
    std::vector<InputMark> again{present[i]};
    if (auto read = add_digests(folder, again, stop); !read) return read.error();
    if (again.front().digest.empty() || again.front().digest != known[i].digest) return false;
  }
  return true;
}

SoundSize sound_size(const fs::path& folder, const Options& options) {
  SoundSize size;
  const auto session = session::open_session({folder}, options.mix);
  if (!session) return size;
  const auto named = session::find_named_mixes(session->files);
  double longest_s = 0.0;
  double mix_s = 0.0;
  double rate_hz = 0.0;
  int channels = 0;
  for (std::size_t i = 0; i < session->files.size(); ++i) {
    const auto file = media::open_audio(session->files[i].path);
    if (!file) continue;
    const double length_s = to_seconds(file->info.claimed_length, file->info.rate).s;
    size.sound_s += length_s * file->info.channels;
    channels += file->info.channels;
    longest_s = std::max(longest_s, length_s);
    const bool is_mix =
        session->mix ? *session->mix == i : named.files.size() == 1 && named.files.front() == i;
    if (is_mix) mix_s = length_s;
    if (is_mix || mix_s == 0.0) rate_hz = file->info.rate.hz;
  }
  if (options.rate_hz > 0.0) rate_hz = options.rate_hz;
  const bool by_mix = mix_s > 0.0 && options.range != conform::StemRange::all;
  const int bytes = options.bits == media::SampleFormat::pcm16   ? 2
                    : options.bits == media::SampleFormat::pcm24 ? 3
                                                                 : 4;
  size.stems_bytes = (by_mix ? mix_s : longest_s) * rate_hz * channels * bytes;
  constexpr double kScratchBytesPerSecond = 32000.0;  // 16 kHz, 16 bit
  size.scratch_bytes = size.sound_s * kScratchBytesPerSecond;
  return size;
}

}  // namespace kilter::commands
