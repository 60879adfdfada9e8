#include "floor.h"

#include <fcntl.h>
#include <sndfile.h>
#include <unistd.h>

#include <algorithm>
#include <functional>
#include <memory>
#include <stdexcept>
#include <string>

#include "kilter/base/parallel.h"
#include "support/temporary_folder.h"

namespace kilter::bench {
namespace {

namespace fs = std::filesystem;
using Handle = std::unique_ptr<SNDFILE, int (*)(SNDFILE*)>;

constexpr sf_count_t kFrames = 1 << 14;

/// As plainly as libsndfile can.
void decode(const fs::path& file) {
  SF_INFO info{};
  const Handle sound(sf_open(file.c_str(), SFM_READ, &info), sf_close);
  if (!sound) throw std::runtime_error(file.string() + " cannot be read");
  std::vector<float> block(static_cast<std::size_t>(kFrames * info.channels));
  sf_count_t all = 0;
  for (sf_count_t got = 1; got > 0; all += got)
    got = sf_readf_float(sound.get(), block.data(), kFrames);
  if (all != info.frames) throw std::runtime_error(file.string() + " breaks off");
}

void sync(const fs::path& file) {
  const int descriptor = ::open(file.c_str(), O_WRONLY);
  const bool synced = ::fsync(descriptor) == 0;
  ::close(descriptor);
  if (!synced) throw std::runtime_error(file.string() + " cannot be synced");
}

void copy(const fs::path& from, const fs::path& to, bool safely) {
  SF_INFO info{};
  const Handle in(sf_open(from.c_str(), SFM_READ, &info), sf_close);
  if (!in) throw std::runtime_error(from.string() + " cannot be read");
  SF_INFO format{};
  format.samplerate = info.samplerate;
  format.channels = info.channels;
  format.format = SF_FORMAT_WAV | SF_FORMAT_PCM_24;
  Handle out(sf_open(to.c_str(), SFM_WRITE, &format), sf_close);
  if (!out) throw std::runtime_error(to.string() + " cannot be written");
  std::vector<int> block(static_cast<std::size_t>(kFrames * info.channels));
  for (sf_count_t got = 1; got > 0;) {
    got = sf_readf_int(in.get(), block.data(), kFrames);
    if (sf_writef_int(out.get(), block.data(), got) != got)
      throw std::runtime_error(to.string() + " cannot be written");
  }
  if (sf_close(out.release()) != 0) throw std::runtime_error("cannot be completed");
  if (safely) sync(to);
}

void for_all(const Files& files, int threads, const std::function<void(const fs::path&)>& work) {
  std::vector<std::string> failures(files.size());
  parallel_for(static_cast<int>(files.size()), threads, [&](int i) {
    const auto at = static_cast<std::size_t>(i);
    try {
      work(files[at]);
    } catch (const std::exception& failure) {
      failures[at] = failure.what();
    }
  });
  for (const std::string& failure : failures)
    if (!failure.empty()) throw std::runtime_error(failure);
}

}  // namespace

void decode_all(const Files& files, int threads) { for_all(files, threads, decode); }

void copy_all(const Files& files, int threads, bool safely) {
  const test::TemporaryFolder folder;
  for_all(files, threads, [&](const fs::path& file) {
    copy(file, folder / (file.stem().string() + ".wav"), safely);
  });
}

Files files_in(const fs::path& folder) {
  Files files;
  for (const auto& entry : fs::directory_iterator(folder))
    if (entry.is_regular_file()) files.push_back(entry.path());
  std::sort(files.begin(), files.end());
  return files;
}

bool forget(const Files& files) {
#ifdef POSIX_FADV_DONTNEED
  for (const fs::path& file : files) {
    const int descriptor = ::open(file.c_str(), O_RDONLY);
    if (descriptor < 0) return false;
    ::fsync(descriptor);  // what is not on the disk yet is not forgotten
    const int problem = ::posix_fadvise(descriptor, 0, 0, POSIX_FADV_DONTNEED);
    ::close(descriptor);
    if (problem != 0) return false;
  }
  return true;
#else
  (void)files;
  return false;
#endif
}

}  // namespace kilter::bench
