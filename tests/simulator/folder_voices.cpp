#include "folder_voices.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

#include "kilter/media/audio_file.h"
#include "random.h"

namespace kilter::simulator {
namespace {

namespace fs = std::filesystem;

constexpr double kEnough_s = 60.0;

struct Files {
  std::string name;
  std::vector<fs::path> files;
  double length_s{0.0};
};

bool is_noise(const fs::path& path) { return path.filename().string().starts_with("noise"); }

std::vector<fs::path> audio_below(const fs::path& folder) {
  std::vector<fs::path> files;
  std::error_code failed;  // what cannot be entered is left out
  for (const auto& entry : fs::recursive_directory_iterator(folder, failed))
    if (entry.is_regular_file() && media::has_audio_name(entry.path()))
      files.push_back(entry.path());
  std::sort(files.begin(), files.end());
  return files;
}

Result<std::vector<Files>> find_speakers(const fs::path& folder) {
  std::error_code failed;
  std::vector<fs::path> entries;
  for (const auto& entry : fs::directory_iterator(folder, failed))
    if (!is_noise(entry.path())) entries.push_back(entry.path());
  if (failed)
    return Error{ErrorKind::no_input, folder, "the folder of voices cannot be read",
                 "name a folder that holds recordings of speech"};
  std::sort(entries.begin(), entries.end());
  std::vector<Files> speakers;
  std::vector<Files> loose;
  for (const fs::path& entry : entries) {
    if (fs::is_directory(entry)) {
      auto files = audio_below(entry);
      if (!files.empty()) speakers.push_back({entry.filename().string(), std::move(files)});
    } else if (media::has_audio_name(entry)) {
      loose.push_back({entry.filename().string(), {entry}});
    }
  }
  return speakers.empty() ? std::move(loose) : std::move(speakers);
}

/// First channel only.
Result<std::vector<float>> read_all(const fs::path& file, double& rate_hz) {
  auto audio = media::open_audio(file);
  if (!audio) return audio.error();
  rate_hz = audio->info.rate.hz;
  const auto channels = static_cast<std::size_t>(audio->info.channels);
  std::vector<float> block(channels * 65536);
  std::vector<float> sound;
  while (true) {
    auto got = audio->source->read(block);
    if (!got) return got.error();
    if (got->n == 0) return sound;
    for (std::size_t i = 0; i < static_cast<std::size_t>(got->n); ++i)
      sound.push_back(block[i * channels]);
  }
}

std::vector<float> to_world_rate(const std::vector<float>& sound, double rate_hz) {
  if (rate_hz == kWorldRateHz) return sound;
  const Interpolator interpolator(rate_hz, kWorldRateHz);
  const double step = rate_hz / kWorldRateHz;
  std::vector<float> out(static_cast<std::size_t>(static_cast<double>(sound.size()) / step));
  for (std::size_t i = 0; i < out.size(); ++i)
    out[i] = interpolator.at(sound, static_cast<double>(i) * step);
  return out;
}

Result<FolderVoices::Speaker> load(const Files& files) {
  FolderVoices::Speaker speaker{files.name, {}};
  for (const fs::path& file : files.files) {
    double rate_hz = 0.0;
    auto sound = read_all(file, rate_hz);
    if (!sound) return sound.error();
    const std::vector<float> resampled = to_world_rate(*sound, rate_hz);
    speaker.sound.insert(speaker.sound.end(), resampled.begin(), resampled.end());
  }
  return speaker;
}

/// From what the headers say; a hint only.
double claimed_length_s(const Files& files) {
  double sum_s = 0.0;
  for (const fs::path& file : files.files)
    if (auto audio = media::open_audio(file))
      sum_s += to_seconds(audio->info.claimed_length, audio->info.rate).s;
  return sum_s;
}

void shuffle(std::vector<Files>& speakers, Random random) {
  for (std::size_t left = speakers.size(); left > 1; --left)
    std::swap(speakers[left - 1],
              speakers[static_cast<std::size_t>(random.index(static_cast<int>(left)))]);
}

/// The quietest 20 ms within half a second of `from`: a place to begin a sentence.
std::size_t quiet_place(const std::vector<float>& sound, std::size_t from) {
  constexpr std::size_t kStep = kWorldRateHz / 50;
  std::size_t best = from;
  double least = HUGE_VAL;
  for (std::size_t at = from; at < from + kWorldRateHz / 2 && at + kStep <= sound.size();
       at += kStep) {
    double energy = 0.0;
    for (std::size_t i = at; i < at + kStep; ++i)
      energy += static_cast<double>(sound[i]) * sound[i];
    if (energy < least) {
      least = energy;
      best = at;
    }
  }
  return best;
}

/// Up to 3 dB more or less of the highs, by a first-order shelf at 2 kHz.
void colour(double amount, std::vector<float>& sound) {
  const auto pass =
      static_cast<float>(1.0 - std::exp(-2.0 * std::numbers::pi * 2000.0 / kWorldRateHz));
  float low = 0.0F;
  for (float& x : sound) {
    low += pass * (x - low);
    x += static_cast<float>(amount) * (x - low);
  }
}

}  // namespace

Result<std::unique_ptr<FolderVoices>> FolderVoices::open(const fs::path& folder, std::uint64_t seed,
                                                         int people) {
  auto found = find_speakers(folder);
  if (!found) return found.error();
  if (static_cast<int>(found->size()) < people)
    return Error{ErrorKind::no_input, folder,
                 "the folder holds " + std::to_string(found->size()) + " speakers, " +
                     std::to_string(people) + " are needed",
                 "ask for fewer people, or add recordings"};
  for (Files& files : *found) files.length_s = claimed_length_s(files);
  shuffle(*found, Random{seed, 51});
  std::stable_partition(found->begin(), found->end(),
                        [](const Files& files) { return files.length_s >= kEnough_s; });
  std::vector<Speaker> speakers;
  for (int i = 0; i < people; ++i) {
    auto speaker = load((*found)[static_cast<std::size_t>(i)]);
    if (!speaker) return speaker.error();
    if (speaker->sound.size() < kWorldRateHz)
      return Error{ErrorKind::no_input, folder / speaker->name, "less than a second of speech",
                   "add recordings of this speaker, or take the folder away"};
    speakers.push_back(*std::move(speaker));
  }
  return std::unique_ptr<FolderVoices>(new FolderVoices(seed, std::move(speakers)));
}

std::vector<float> FolderVoices::utterance(int person, int index, std::int64_t frames) const {
  const std::vector<float>& sound = speakers_.at(static_cast<std::size_t>(person)).sound;
  Random random{seed_, 52, static_cast<std::uint64_t>(person), static_cast<std::uint64_t>(index)};
  // Steps of the golden section spread the places evenly, whatever the number of utterances.
  Random first{seed_, 53, static_cast<std::uint64_t>(person)};
  const double place = first.uniform() + 0.6180339887498949 * index;
  const auto from =
      static_cast<std::size_t>((place - std::floor(place)) * static_cast<double>(sound.size()));
  const auto begin = static_cast<double>(quiet_place(sound, from));
  const double speed = random.between(0.96, 1.04);
  std::vector<float> out(static_cast<std::size_t>(frames));
  const auto length = static_cast<double>(sound.size());
  for (std::size_t i = 0; i < out.size(); ++i)
    out[i] = player_.at(sound, std::fmod(begin + speed * static_cast<double>(i), length));
  colour(random.between(-0.3, 0.4), out);
  finish_utterance(out);
  return out;
}

}  // namespace kilter::simulator
