#include "archive/broken_sessions.h"

#include <sys/stat.h>

#include <algorithm>
#include <fstream>
#include <iterator>
#include <limits>
#include <sndfile.hh>
#include <stdexcept>

#include "support/malformed_files.h"
#include "support/sound_files.h"

namespace kilter::archive {
namespace {

namespace fs = std::filesystem;

constexpr const char* kMix = "mixdown.wav";
constexpr const char* kMicrophone = "keeper.wav";
constexpr const char* kGuest = "pilot.wav";
constexpr std::uintmax_t kHeader = 44;  // bytes, of a plain WAV file

void copy_session(const fs::path& whole, const fs::path& folder) {
  fs::create_directories(folder);
  fs::copy(whole, folder, fs::copy_options::recursive);
}

void write(const fs::path& file, const std::string& bytes) {
  std::ofstream out(file, std::ios::binary);
  out.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  out.close();
  if (!out) throw std::runtime_error(file.string() + " cannot be written");
}

std::string bytes_of(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

struct Sound {
  test::Samples samples;
  int rate_hz{0};
};

Sound sound_of(const fs::path& file) {
  SndfileHandle in(file.string());
  if (!in) throw std::runtime_error(file.string() + " cannot be read");
  Sound sound{test::Samples(static_cast<std::size_t>(in.frames())), in.samplerate()};
  if (in.readf(sound.samples.data(), in.frames()) != in.frames())
    throw std::runtime_error(file.string() + " cannot be read");
  return sound;
}

/// A part of the sound, from 0 to 1.
void write_part(const Sound& sound, double from, double to, const fs::path& file) {
  const auto at = [&](double part) {
    return sound.samples.begin() +
           static_cast<std::ptrdiff_t>(part * static_cast<double>(sound.samples.size()));
  };
  test::write_sound(file, {{at(from), at(to)}}, sound.rate_hz, SF_FORMAT_WAV | SF_FORMAT_PCM_24);
}

void rename_all(const fs::path& folder, const std::vector<std::string>& names) {
  std::vector<fs::path> files;
  for (const auto& entry : fs::directory_iterator(folder)) files.push_back(entry.path());
  std::sort(files.begin(), files.end());
  std::size_t next = 0;
  for (const fs::path& file : files)
    if (file.filename() != kMix) fs::rename(file, folder / names.at(next++));
}

using Change = std::function<void(const fs::path& folder)>;

/// A whole session but for what `change` does to it.
BrokenSession whole_but(std::string name, Change change) {
  return {std::move(name), [change = std::move(change)](const fs::path& whole, const fs::path& to) {
            copy_session(whole, to);
            change(to);
          }};
}

BrokenSession with_text(std::string name, const std::string& file, const std::string& text) {
  return whole_but(std::move(name), [=](const fs::path& to) { write(to / file, text); });
}

std::vector<BrokenSession> cut_files() {
  return {whole_but("cut/guest-cut",
                    [](const fs::path& to) {
                      fs::resize_file(to / kGuest, fs::file_size(to / kGuest) * 2 / 3);
                    }),
          whole_but("cut/mix-cut",
                    [](const fs::path& to) {
                      fs::resize_file(to / kMix, fs::file_size(to / kMix) / 2 + 1);
                    }),
          whole_but("cut/header-only",
                    [](const fs::path& to) { fs::resize_file(to / kMicrophone, kHeader); }),
          whole_but("cut/half-a-header",
                    [](const fs::path& to) { fs::resize_file(to / kMicrophone, kHeader / 2); }),
          whole_but("cut/power-lost",
                    [](const fs::path& to) {  // before the sizes were written
                      std::string bytes = bytes_of(to / kGuest);
                      for (const std::size_t size : {std::size_t{4}, bytes.find("data") + 4})
                        bytes.replace(size, 4, 4, '\0');
                      write(to / kGuest, bytes);
                    }),
          whole_but("cut/flac-damaged",
                    [](const fs::path& to) {
                      const Sound sound = sound_of(to / kGuest);
                      fs::remove(to / kGuest);
                      const fs::path flac = to / "pilot.flac";
                      test::write_sound(flac, {sound.samples}, sound.rate_hz,
                                        SF_FORMAT_FLAC | SF_FORMAT_PCM_16);
                      std::string bytes = bytes_of(flac);
                      bytes.replace(bytes.size() / 2, 3000, 3000, '\x55');
                      write(flac, bytes.substr(0, bytes.size() * 9 / 10));
                    }),
          whole_but("cut/no-numbers", [](const fs::path& to) {
            Sound sound = sound_of(to / kMicrophone);
            for (std::size_t i = 1000; i < sound.samples.size(); i += 5000)
              sound.samples[i] = std::numeric_limits<float>::quiet_NaN();
            test::write_sound(to / kMicrophone, {sound.samples}, sound.rate_hz);
          })};
}

std::vector<BrokenSession> missing_files() {
  return {
      {"missing/empty", [](const fs::path&, const fs::path& to) { fs::create_directories(to); }},
      {"missing/mix-alone",
       [](const fs::path& whole, const fs::path& to) {
         fs::create_directories(to);
         fs::copy(whole / kMix, to / kMix);
       }},
      with_text("missing/no-bytes", kGuest, ""),
      with_text("missing/text-for-sound", kMicrophone, "fog, and the horn is silent\n"),
      with_text("missing/mix-is-text", kMix, "fog\n"),
      whole_but("missing/all-text",
                [](const fs::path& to) {
                  for (const auto& entry : fs::directory_iterator(to)) write(entry.path(), "fog\n");
                }),
      whole_but("missing/locked", [](const fs::path& to) { ::chmod((to / kGuest).c_str(), 0); }),
      whole_but("missing/mix-locked", [](const fs::path& to) { ::chmod((to / kMix).c_str(), 0); }),
      whole_but("missing/link-to-nothing",
                [](const fs::path& to) {
                  fs::remove(to / kGuest);
                  fs::create_symlink("nowhere.wav", to / kGuest);
                }),
      whole_but("missing/pipe",
                [](const fs::path& to) {
                  fs::remove(to / kGuest);
                  if (::mkfifo((to / kGuest).c_str(), 0600) != 0)
                    throw std::runtime_error("no pipe can be made");
                }),
      whole_but("missing/still-copied",
                [](const fs::path& to) { fs::rename(to / kGuest, to / "pilot.wav.part"); }),
      whole_but("missing/folder-for-sound",
                [](const fs::path& to) {
                  fs::remove(to / kGuest);
                  fs::create_directory(to / kGuest);
                }),
      whole_but("missing/part-of-a-take",
                [](const fs::path& to) {
                  const Sound sound = sound_of(to / kMicrophone);
                  fs::remove(to / kMicrophone);
                  write_part(sound, 0.0, 0.3, to / "keeper_0001.wav");
                  write_part(sound, 0.6, 1.0, to / "keeper_0003.wav");
                }),
      whole_but("missing/split-take", [](const fs::path& to) {
        const Sound sound = sound_of(to / kMicrophone);
        fs::remove(to / kMicrophone);
        write_part(sound, 0.0, 0.4, to / "keeper_0001.wav");
        write_part(sound, 0.4, 1.0, to / "keeper_0002.wav");
      })};
}

std::vector<BrokenSession> wrong_words() {
  return {with_text("told/no-toml", "session.toml", "mix = ["),
          with_text("told/nobody", "session.toml",
                    "[[track]]\nname = \"smith\"\nparts = [\"smith.wav\"]\n"),
          with_text("told/wrong-start", "session.toml",
                    "[[track]]\nname = \"pilot\"\nparts = [\"pilot.wav\"]\nstart_s = 900.0\n"),
          with_text("told/no-text", "session.toml", std::string("\xff\xfe\0\x01", 4)),
          whole_but("told/two-mixes",
                    [](const fs::path& to) { fs::copy(to / kMix, to / "master.wav"); })};
}

std::vector<BrokenSession> odd_names() {
  const std::string nobodys_bytes = "names/\xe9t\xe9";  // Latin-1, and no UTF-8
  return {whole_but("names/a \"quoted\" 'name' & $(more) `ticks` \\ % # ; *",
                    [](const fs::path& to) {
                      rename_all(to, {"ke'eper \"one\".wav", "$(mate) &.wav", "-pilot;.wav"});
                    }),
          whole_but("names/two\nlines\tand a tab",
                    [](const fs::path& to) {
                      rename_all(to, {"kee\nper.wav", "ma\tte.wav", "pi\x01lot.wav"});
                    }),
          whole_but(nobodys_bytes,
                    [](const fs::path& to) {
                      rename_all(to, {"g\xe9rant.wav", "mate.wav", "p\xfflot.wav"});
                    }),
          whole_but("names/\xe7\x81\xaf\xe5\x8f\xb0 \xf0\x9f\x8c\x8a",
                    [](const fs::path& to) {
                      rename_all(to, {"\xe5\xae\x88.wav", "\xf0\x9f\x8c\x8a.wav", "e\xcc\x81.wav"});
                    }),
          whole_but("names/" + std::string(200, 'x'),
                    [](const fs::path& to) {
                      rename_all(to, {std::string(240, 'k') + ".wav", "mate.wav", "pilot.wav"});
                    }),
          whole_but("names/CON.part", [](const fs::path&) {}),
          whole_but("names/Twin", [](const fs::path&) {}),
          whole_but("names/twin", [](const fs::path&) {}),
          whole_but("names/twin/inner twin", [](const fs::path&) {}),
          whole_but("names/batch.jsonl", [](const fs::path&) {}),
          whole_but("names/-dash.", [](const fs::path&) {})};
}

/// A session beside whose files all those of one kind lie that are broken in one way each.
BrokenSession beside(const std::string& name, std::vector<test::Defect> (*defects)()) {
  return whole_but("malformed/" + name, [defects](const fs::path& to) {
    int count = 0;
    for (const test::Defect& defect : defects()) {
      const std::string bytes = test::malformed_file(defect);
      // Not numbered behind a name, or they would be parts of one take.
      if (!bytes.empty())
        write(to / ("broken" + std::string(1, static_cast<char>('a' + count / 26)) +
                    static_cast<char>('a' + count % 26) + '.' + defect.kind),
              bytes);
      ++count;
    }
  });
}

}  // namespace

std::vector<BrokenSession> broken_sessions() {
  std::vector<BrokenSession> all;
  for (auto& sessions : {cut_files(), missing_files(), wrong_words(), odd_names()})
    all.insert(all.end(), sessions.begin(), sessions.end());
  all.push_back(beside("wav", test::wav_defects));
  all.push_back(beside("pcm", test::other_pcm_defects));
  all.push_back(beside("lossy", test::lossy_defects));
  all.push_back(beside("mp4", test::mp4_defects));
  all.push_back(beside("matroska", test::matroska_defects));
  return all;
}

}  // namespace kilter::archive
