#include "kilter/conform/listening_clips.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <optional>
#include <sstream>
#include <string_view>
#include <system_error>
#include <tuple>
#include <utility>

#include "clip_sound.h"
#include "kilter/base/clock_text.h"
#include "kilter/conform/conform.h"
#include "kilter/edits/text_file.h"
#include "kilter/media/audio_writer.h"
#include "kilter/media/stretch_reader.h"

namespace kilter::conform {
namespace {

namespace fs = std::filesystem;

constexpr double kClip_s = 8.0;
constexpr double kLongest_s = 14.0;
constexpr double kTogether_s = 4.0;
constexpr std::int64_t kSearch_s = 60;
constexpr const char* kTable = "clips.tsv";
constexpr std::string_view kFirstLine = "# listening clips: mix left, stem right";

const char* file_word(ClipReason reason) {
  switch (reason) {
    case ClipReason::seam:
      return "seam";
    case ClipReason::residual:
      return "worst-residual";
    case ClipReason::evidence:
      return "weakest-evidence";
    case ClipReason::start:
      return "start";
    case ClipReason::end:
      break;
  }
  return "end";
}

std::string words_of(const ClipPlace& place) {
  std::string words = file_word(place.reason);
  std::replace(words.begin(), words.end(), '-', ' ');
  return place.words.empty() ? words : words + ": " + place.words;
}

/// "00h03m23s"
std::string time_in_name(double seconds) {
  std::string text = clock_text(seconds, 0);
  text.replace(text.rfind(':'), 1, "m");
  text.replace(text.rfind(':'), 1, "h");
  return text + 's';
}

/// Without what would break a row.
std::string cell(std::string text) {
  for (char& letter : text)
    if (static_cast<unsigned char>(letter) < 0x20 || letter == 0x7F) letter = ' ';
  return text;
}

/// A stem that was just written is an output of ours, and so is what cannot be made of it.
Error of_output(Error error) {
  error.kind = ErrorKind::cannot_write;
  error.what = "its listening clips cannot be made: " + error.what;
  error.next_step = "check the disk, or conform without --clips";
  return error;
}

/// Where a clip lies, in frames of the stems.
struct Range {
  std::int64_t first{0};
  std::int64_t frames{0};
};

/// What becomes a clip.
struct Planned {
  ClipReason reason{ClipReason::start};
  Stretch at;
  std::string words;
};

class Clipper {
 public:
  Clipper(const ConformReport& report, const fs::path& folder, media::StretchReader mix)
      : report_(report), folder_(folder), mix_(std::move(mix)) {}

  /// The places of one track as clips, in order of time.
  Result<std::vector<Planned>> plan(media::StretchReader& stem,
                                    const std::vector<const ClipPlace*>& places) const {
    std::vector<Planned> planned;
    for (const ClipPlace* place : places) {
      if (place->at.line_to_s < report_.from_s || place->at.line_from_s > to_s()) continue;
      auto at = heard_at(stem, *place);
      if (!at) return at.error();
      planned.push_back({place->reason, *at, words_of(*place)});
    }
    std::stable_sort(planned.begin(), planned.end(),
                     [](const Planned& a, const Planned& b) { return a.reason < b.reason; });
    std::vector<Planned> apart;
    for (Planned& each : planned) {
      const auto near = std::find_if(apart.begin(), apart.end(), [&](const Planned& other) {
        return std::abs(middle_s(each.at) - middle_s(other.at)) < kTogether_s;
      });
      if (near == apart.end())
        apart.push_back(std::move(each));
      else
        near->words += "; " + each.words;
    }
    std::stable_sort(apart.begin(), apart.end(), [](const Planned& a, const Planned& b) {
      return a.at.line_from_s < b.at.line_from_s;
    });
    return apart;
  }

  Result<Clip> write(media::StretchReader& stem, const Planned& planned, const std::string& name,
                     std::uint64_t seed) {
    const Range range = range_of(planned.at);
    auto left = sound(mix_, range);
    if (!left) return left.error();
    auto right = sound(stem, range);
    if (!right) return right.error();
    Clip clip;
    clip.at_s = planned.at.line_to_s;  // as the finding of a seam has it
    clip.file = name + '_' + time_in_name(clip.at_s) + '_' + file_word(planned.reason) + ".wav";
    clip.words = planned.words;
    clip.from_s = report_.from_s + static_cast<double>(range.first) / report_.rate_hz;
    clip.length_s = static_cast<double>(range.frames) / report_.rate_hz;
    auto writer = media::AudioWriter::create(
        folder_ / clip.file,
        {{report_.rate_hz}, 2, media::SampleFormat::pcm16, media::Container::wav, seed});
    if (!writer) return writer.error();
    if (auto written =
            writer->write(beside(*left, *right, report_.rate_hz), media::Rounding::dithered);
        !written)
      return written.error();
    if (auto finished = writer->finish(); !finished) return finished.error();
    return clip;
  }

 private:
  static double middle_s(const Stretch& at) { return 0.5 * (at.line_from_s + at.line_to_s); }
  double to_s() const {
    return report_.from_s + static_cast<double>(report_.frames) / report_.rate_hz;
  }

  Range range_of(const Stretch& at) const {
    const double length_s = std::min(kLongest_s, kClip_s + at.line_to_s - at.line_from_s);
    Range range;
    range.frames = std::min<std::int64_t>(report_.frames, std::llround(length_s * report_.rate_hz));
    const double from_s = middle_s(at) - 0.5 * length_s - report_.from_s;
    range.first = std::clamp<std::int64_t>(std::llround(from_s * report_.rate_hz), 0,
                                           report_.frames - range.frames);
    return range;
  }

  static Result<std::vector<float>> sound(media::StretchReader& reader, const Range& range) {
    const int channels = reader.channels();
    std::vector<float> interleaved(static_cast<std::size_t>(range.frames * channels));
    if (auto read = reader.read({range.first}, interleaved); !read) return of_output(read.error());
    return together(interleaved, channels);
  }

  /// Where the place is, or the talk that is nearest to a start or an end.
  Result<Stretch> heard_at(media::StretchReader& stem, const ClipPlace& place) const {
    const bool last = place.reason == ClipReason::end;
    if (!last && place.reason != ClipReason::start) return place.at;
    const auto second = static_cast<std::int64_t>(report_.rate_hz);
    const std::int64_t edge =
        std::llround((place.at.line_from_s - report_.from_s) * report_.rate_hz);
    const std::int64_t first =
        std::clamp<std::int64_t>(last ? edge - kSearch_s * second : edge, 0, report_.frames);
    const std::int64_t end =
        std::clamp<std::int64_t>(last ? edge : edge + kSearch_s * second, 0, report_.frames);
    std::vector<double> powers;
    for (std::int64_t at = first; at + second <= end; at += second) {
      const auto heard = sound(stem, {at, second});
      if (!heard) return heard.error();
      powers.push_back(0.0);
      for (const float sample : *heard)
        powers.back() += static_cast<double>(sample) * static_cast<double>(sample);
    }
    constexpr auto kSeconds = static_cast<std::size_t>(kClip_s);
    const auto talk = static_cast<double>(talk_second(powers, kSeconds, last));
    const double middle =
        report_.from_s + static_cast<double>(first) / report_.rate_hz + talk + 0.5 * kClip_s;
    const double within = std::clamp(middle, report_.from_s, to_s());
    return Stretch{within, within};
  }

  const ConformReport& report_;
  const fs::path& folder_;
  media::StretchReader mix_;
};

std::string table_text(const std::vector<Clip>& clips, const Lineup& lineup) {
  std::string text(kFirstLine);
  text += "\nfile\ttrack\tplace\tclip begins\tlength\tlisten for\n";
  for (const Clip& clip : clips)
    text += fmt::format("{}\t{}\t{}\t{}\t{:.1f}\t{}\n", clip.file.string(),
                        cell(lineup.tracks[clip.track].name), clock_text(clip.at_s),
                        clock_text(clip.from_s), clip.length_s, cell(clip.words));
  return text;
}

}  // namespace

Result<std::vector<Clip>> write_clips(const Lineup& lineup, const ConformReport& report,
                                      const fs::path& stems_folder, const fs::path& folder,
                                      const std::vector<ClipPlace>& places,
                                      const ClipOptions& options) {
  std::error_code problem;
  fs::create_directories(folder, problem);
  if (problem)
    return Error{ErrorKind::cannot_write, folder, "cannot be made (" + problem.message() + ")",
                 "check the path and your rights, or choose another folder"};
  auto mix = media::StretchReader::open(stems_folder / report.mix->file);
  if (!mix) return of_output(mix.error());
  Clipper clipper(report, folder, *std::move(mix));
  std::vector<std::string> names;
  for (const LineupTrack& track : lineup.tracks) names.push_back(track.name);
  names = safe_file_names(names);
  std::vector<Clip> clips;
  for (std::size_t t = 0; t < lineup.tracks.size(); ++t) {
    std::vector<const ClipPlace*> own;
    for (const ClipPlace& place : places)
      if (place.track == t) own.push_back(&place);
    if (own.empty() || report.stems[t].file.empty()) continue;
    auto stem = media::StretchReader::open(stems_folder / report.stems[t].file);
    if (!stem) return of_output(stem.error());
    const auto planned = clipper.plan(*stem, own);
    if (!planned) return planned.error();
    for (std::size_t i = 0; i < planned->size(); ++i) {
      if (options.stop != nullptr && options.stop->load())
        return Error{ErrorKind::interrupted, {}, "interrupted", "start again"};
      constexpr std::size_t kMostOfATrack = 1000;  // so that each has a noise of its own
      auto clip = clipper.write(*stem, (*planned)[i], names[t], t * kMostOfATrack + i);
      if (!clip) return clip.error();
      clip->track = t;
      clips.push_back(*std::move(clip));
    }
    if (options.progress)
      options.progress(static_cast<double>(t + 1) / static_cast<double>(lineup.tracks.size()));
  }
  if (auto written = edits::write_text(folder / kTable, table_text(clips, lineup)); !written)
    return written.error();
  return clips;
}

std::vector<fs::path> clip_files_in(const fs::path& folder) {
  const auto text = edits::read_text(folder / kTable);
  if (!text || !text->starts_with(kFirstLine)) return {};
  std::vector<fs::path> files{kTable};
  std::istringstream lines(*text);
  std::string line;
  std::getline(lines, line);
  std::getline(lines, line);  // the headings
  while (std::getline(lines, line)) {
    const fs::path file = line.substr(0, line.find('\t'));
    // Anybody may have written it: nothing outside the folder, and no other kind of file.
    if (file.has_filename() && !file.has_parent_path() && file.extension() == ".wav")
      files.push_back(file);
  }
  return files;
}

}  // namespace kilter::conform
