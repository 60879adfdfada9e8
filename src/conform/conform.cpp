#include "kilter/conform/conform.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <system_error>

#include "kilter/base/whole_frames.h"
#include "rendering.h"
#include "stem.h"
#include "stem_notes.h"

namespace kilter::conform {
namespace {

// No file holds more, and sums of frames stay far from where whole numbers end.
constexpr std::int64_t kLongestStem_frames = 100'000'000'000;

Stretch stretch_of(const LineupTrack& track) {
  return {track.map->spans().front().line_from_s, track.map->spans().back().line_to_s};
}

Stretch stretch_of_mix(const Lineup& lineup) {
  if (!lineup.mix || lineup.mix->spans.empty()) return {lineup.from_s, lineup.to_s};
  return {lineup.mix->spans.front().line_from_s, lineup.mix->spans.back().line_to_s};
}

Stretch stretch_of_all(const Lineup& lineup, const std::vector<const LineupTrack*>& tracks) {
  Stretch all = stretch_of_mix(lineup);
  for (const LineupTrack* track : tracks) {
    all.line_from_s = std::min(all.line_from_s, stretch_of(*track).line_from_s);
    all.line_to_s = std::max(all.line_to_s, stretch_of(*track).line_to_s);
  }
  return all;
}

Stretch stretch_shared(const std::vector<const LineupTrack*>& tracks) {
  Stretch shared = stretch_of(*tracks.front());
  for (const LineupTrack* track : tracks) {
    shared.line_from_s = std::max(shared.line_from_s, stretch_of(*track).line_from_s);
    shared.line_to_s = std::min(shared.line_to_s, stretch_of(*track).line_to_s);
  }
  return shared;
}

Stretch stretch_wanted(const Lineup& lineup, const std::vector<const LineupTrack*>& tracks,
                       StemRange range) {
  switch (range) {
    case StemRange::mix:
      return stretch_of_mix(lineup);
    case StemRange::all:
      return stretch_of_all(lineup, tracks);
    case StemRange::shared:
      return stretch_shared(tracks);
  }
  return {};
}

/// The stretch in whole frames of the timeline at `rate_hz`: outwards, or inwards for `shared`, so
/// that no stem then holds a frame without sound.
Result<StemShape> shape_of(const Stretch& stretch, const ConformOptions& options, double rate_hz) {
  const bool inwards = options.range == StemRange::shared;
  const double from = stretch.line_from_s * rate_hz;
  const double to = stretch.line_to_s * rate_hz;
  const std::int64_t first = inwards ? first_frame_from(from) : last_frame_to(from);
  const std::int64_t end = inwards ? last_frame_to(to) : first_frame_from(to);
  if (end <= first)
    return Error{ErrorKind::no_input,
                 {},
                 "no stretch of time is left for the stems",
                 inwards ? "choose the range mix or all: the tracks have no time in common"
                         : "check the range of the timeline"};
  if (end - first > kLongestStem_frames)
    return Error{
        ErrorKind::no_input, {}, "the stems would last for weeks", "check the spans of the lineup"};
  return StemShape{rate_hz, static_cast<double>(first) / rate_hz, end - first, options.format,
                   options.container};
}

Result<double> stem_rate_hz(const Lineup& lineup, const ConformOptions& options) {
  const double rate_hz = options.rate_hz == 0.0 ? lineup.timeline_rate_hz : options.rate_hz;
  const bool possible = rate_hz >= 1000.0 && rate_hz <= 768000.0 && rate_hz == std::floor(rate_hz);
  if (possible) return rate_hz;
  return Error{ErrorKind::bad_command,
               {},
               "no stem can have this sample rate",
               "choose a whole number of hertz from 1000 to 768000"};
}

std::int64_t bytes_of_frame(const StemPlan& stem, media::SampleFormat format) {
  return std::ssize(stem.channels) * bits_of(format) / 8;
}

std::string size_text(double bytes, double (*round)(double)) {
  return bytes < 1e9 ? fmt::format("{:.1f} MB", round(bytes / 1e5) / 10.0)
                     : fmt::format("{:.1f} GB", round(bytes / 1e8) / 10.0);
}

/// Why the disk cannot take the stems, if so.
std::optional<Error> lack_of_room(const std::vector<StemPlan>& stems, const StemShape& shape,
                                  const std::filesystem::path& folder) {
  // Speech rarely packs better than this.
  constexpr double kPacked = 0.3;
  double bytes = 0.0;
  for (const StemPlan& stem : stems)
    bytes +=
        static_cast<double>(shape.frames) * static_cast<double>(bytes_of_frame(stem, shape.format));
  if (shape.container == media::Container::flac) bytes *= kPacked;
  std::error_code unknown;
  const auto room = std::filesystem::space(folder, unknown);
  if (unknown || bytes <= static_cast<double>(room.available)) return std::nullopt;
  return Error{ErrorKind::cannot_write, folder,
               "the stems need " + size_text(bytes, std::ceil) + ", and the disk has " +
                   size_text(static_cast<double>(room.available), std::floor) + " left",
               shape.container == media::Container::flac
                   ? "make room, choose a shorter --range, or another folder"
                   : "make room, use --container flac or a shorter --range, or choose another "
                     "folder"};
}

/// A file for each stem, or why that one will be missing. Fails before any work where the options
/// ask for what no stem can be.
Result<std::vector<Result<media::WriterOptions>>> formats_of(
    const std::vector<StemPlan>& stems, const Lineup& lineup,
    const std::filesystem::path& session_folder, const StemShape& shape,
    const ConformOptions& options) {
  std::vector<Result<media::WriterOptions>> formats;
  for (std::size_t i = 0; i < stems.size(); ++i) {
    auto notes = notes_of(stems[i], lineup, session_folder, shape, options);
    if (!notes) {
      formats.emplace_back(std::move(notes).error());
      continue;
    }
    media::WriterOptions format{{shape.rate_hz},
                                static_cast<int>(stems[i].channels.size()),
                                shape.format,
                                shape.container,
                                i,
                                *std::move(notes)};
    format.container = media::container_for(format, {shape.frames});
    if (auto error = media::refusal(format, stems[i].file)) {
      error->kind = ErrorKind::bad_command;  // the options ask for what there is not
      return *std::move(error);
    }
    formats.emplace_back(std::move(format));
  }
  return formats;
}

/// The failure that ends everything, if there was one: the same for any thread count as far as the
/// causes are.
std::optional<Error> fatal(const std::vector<Outcome>& outcomes, const Progress& progress) {
  if (progress.interrupted())
    return Error{ErrorKind::interrupted, {}, "interrupted", "start again"};
  for (const Outcome& outcome : outcomes)
    if (outcome.failure && outcome.failure->kind == ErrorKind::cannot_write) return outcome.failure;
  return std::nullopt;
}

ConformReport report_of(const Lineup& lineup, const StemShape& shape,
                        const std::vector<StemPlan>& stems, const std::vector<Outcome>& outcomes) {
  ConformReport report{shape.rate_hz, shape.from_s, shape.frames, {}, {}};
  for (const LineupTrack& track : lineup.tracks) {
    Stem& row = report.stems.emplace_back(Stem{track.name, {}, std::nullopt, 0, 0});
    for (std::size_t i = 0; i < stems.size(); ++i) {
      const Takes& takes = stems[i].channels.front();
      if (std::find(takes.begin(), takes.end(), &track) == takes.end()) continue;
      if (!outcomes[i].failure) row.file = stems[i].file;
      row.failure = outcomes[i].failure;
      row.digest = outcomes[i].written.digest;
      // Told once, of takes that share a stem.
      row.clipped_samples = takes.front() == &track ? outcomes[i].written.clipped_samples : 0;
    }
  }
  return report;
}

}  // namespace

StemFiles stem_files(const Lineup& lineup) {
  // Its name is all that is asked of the mix here.
  std::vector<LineupTrack> mix(lineup.mix ? 1 : 0);
  for (LineupTrack& channel : mix) channel.name = mix_stem_name(*lineup.mix);
  StemFiles files;
  const bool is_flac = std::any_of(
      lineup.stems.begin(), lineup.stems.end(),
      [](const StemMark& mark) { return std::filesystem::path(mark.file).extension() == ".flac"; });
  const auto container = is_flac ? media::Container::flac : media::Container::wav;
  for (const StemPlan& stem : plan_stems(lineup, mix, container)) files.tracks.push_back(stem.file);
  if (lineup.mix) {
    files.mix = files.tracks.back();
    files.tracks.pop_back();
  }
  return files;
}

Result<ConformReport> conform(const Lineup& lineup, const std::filesystem::path& session_folder,
                              const std::filesystem::path& stems_folder,
                              const ConformOptions& options) {
  const auto rate_hz = stem_rate_hz(lineup, options);
  if (!rate_hz) return rate_hz.error();
  const auto tracks = tracks_with_stems(lineup);
  if (tracks.empty())
    return Error{ErrorKind::no_input,
                 {},
                 "no track is placed, so there is no stem to make",
                 "run kilter align on it, which tells of each track what is wrong"};
  const auto shape = shape_of(stretch_wanted(lineup, tracks, options.range), options, *rate_hz);
  if (!shape) return shape.error();
  std::error_code problem;
  std::filesystem::create_directories(stems_folder, problem);
  if (problem)
    return Error{ErrorKind::cannot_write, stems_folder,
                 "cannot be made (" + problem.message() + ")",
                 "check the path and your rights, or choose another folder"};

  const auto mix = mix_as_tracks(lineup, session_folder);
  const std::vector<LineupTrack> no_mix;
  const auto stems = plan_stems(lineup, mix ? *mix : no_mix, options.container);
  if (auto error = lack_of_room(stems, *shape, stems_folder)) return *std::move(error);
  const auto formats = formats_of(stems, lineup, session_folder, *shape, options);
  if (!formats) return formats.error();
  Progress progress(options, shape->frames * std::ssize(stems));
  const auto outcomes = render_all({stems, *formats, session_folder, *shape, stems_folder},
                                   options.threads, progress);
  if (auto error = fatal(outcomes, progress)) return *std::move(error);
  ConformReport report = report_of(lineup, *shape, stems, outcomes);
  if (!mix) {
    report.mix = Stem{lineup.mix->file, {}, mix.error(), 0, 0};
  } else if (!mix->empty()) {
    const Outcome& outcome = outcomes.back();
    report.mix = Stem{lineup.mix->file, outcome.failure ? "" : stems.back().file, outcome.failure,
                      outcome.written.clipped_samples, outcome.written.digest};
  }
  return report;
}

}  // namespace kilter::conform
