#include "kilter/conform/conform.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <mutex>
#include <set>
#include <system_error>

#include "kilter/base/parallel.h"
#include "kilter/base/whole_frames.h"
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
  const int bytes = format == media::SampleFormat::pcm16   ? 2
                    : format == media::SampleFormat::pcm24 ? 3
                                                           : 4;
  return std::ssize(stem.channels) * bytes;
}

std::string size_text(double bytes) {
  return bytes < 1e9 ? fmt::format("{:.0f} MB", std::ceil(bytes / 1e6))
                     : fmt::format("{:.1f} GB", std::ceil(bytes / 1e8) / 10.0);
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
               "the stems need " + size_text(bytes) + ", and the disk has " +
                   size_text(static_cast<double>(room.available)) + " left",
               shape.container == media::Container::flac
                   ? "make room, choose a shorter --range, or another folder"
                   : "make room, use --container flac or a shorter --range, or choose another "
                     "folder"};
}

/// A file for each stem, or why one cannot be, before any work.
Result<std::vector<media::WriterOptions>> formats_of(const std::vector<StemPlan>& stems,
                                                     const Lineup& lineup,
                                                     const std::filesystem::path& session_folder,
                                                     const StemShape& shape,
                                                     const ConformOptions& options) {
  std::vector<media::WriterOptions> formats;
  for (std::size_t i = 0; i < stems.size(); ++i) {
    media::WriterOptions format{{shape.rate_hz},
                                static_cast<int>(stems[i].channels.size()),
                                shape.format,
                                shape.container,
                                i,
                                notes_of(stems[i], lineup, session_folder, shape, options)};
    format.container = media::container_for(format, {shape.frames});
    if (auto error = media::refusal(format, stems[i].file)) return *std::move(error);
    formats.push_back(std::move(format));
  }
  return formats;
}

/// Progress over all stems, told by many threads.
class Progress {
 public:
  Progress(const ConformOptions& options, std::int64_t total_frames)
      : options_(options), total_(static_cast<double>(total_frames)) {}

  /// Whether to go on.
  bool advance(std::int64_t frames) {
    if (options_.progress) {
      const std::lock_guard lock(mutex_);
      done_ += frames;
      options_.progress(static_cast<double>(done_) / total_);
    }
    return !abandoned_ && !interrupted();
  }
  void abandon() { abandoned_ = true; }
  bool interrupted() const { return options_.stop != nullptr && options_.stop->load(); }
  bool abandoned() const { return abandoned_; }

 private:
  const ConformOptions& options_;
  double total_;
  std::mutex mutex_;
  std::int64_t done_{0};
  std::atomic<bool> abandoned_{false};
};

/// One stem's outcome, kept until all have ended.
struct Outcome {
  WrittenStem written;
  std::optional<Error> failure;
};

/// Stems whose tracks lie in the same files, by their places among all stems.
using Group = std::vector<std::size_t>;

/// In groups as large as need be and as small as can be.
std::vector<Group> groups_of(const std::vector<StemPlan>& stems) {
  std::vector<Group> groups;
  std::vector<std::set<std::string>> files_of_groups;
  for (std::size_t i = 0; i < stems.size(); ++i) {
    Group group{i};
    std::set<std::string> files;
    for (const Takes& takes : stems[i].channels)
      for (const LineupTrack* track : takes)
        for (const TrackPart& part : track->parts) files.insert(part.file);
    for (std::size_t g = groups.size(); g-- > 0;) {
      const bool shares = std::any_of(files.begin(), files.end(), [&](const std::string& file) {
        return files_of_groups[g].contains(file);
      });
      if (!shares) continue;
      group.insert(group.end(), groups[g].begin(), groups[g].end());
      files.merge(files_of_groups[g]);
      groups.erase(groups.begin() + static_cast<std::ptrdiff_t>(g));
      files_of_groups.erase(files_of_groups.begin() + static_cast<std::ptrdiff_t>(g));
    }
    std::sort(group.begin(), group.end());
    groups.push_back(std::move(group));
    files_of_groups.push_back(std::move(files));
  }
  return groups;
}

/// What all renders need to know.
struct Work {
  const std::vector<StemPlan>& stems;
  const std::vector<media::WriterOptions>& formats;  // one each
  const std::filesystem::path& session_folder;
  const StemShape& shape;
  const std::filesystem::path& folder;
};

/// Writes the stems of a group side by side, on up to `threads` threads.
class GroupRender {
 public:
  GroupRender(const Group& group, const Work& work, Progress& progress,
              std::vector<Outcome>& outcomes)
      : group_(group),
        shape_(work.shape),
        files_(work.session_folder),
        progress_(progress),
        outcomes_(outcomes) {
    for (const std::size_t i : group)
      renders_.push_back(std::make_unique<StemRender>(
          work.stems[i], files_, work.shape, work.folder / work.stems[i].file, work.formats[i]));
  }

  void run(int threads) {
    done_.resize(group_.size());
    bool any_left = true;
    while (any_left && !progress_.abandoned() && !progress_.interrupted()) {
      parallel_for(static_cast<int>(group_.size()), threads,
                   [&](int i) { go_on(static_cast<std::size_t>(i)); });
      any_left = std::any_of(renders_.begin(), renders_.end(),
                             [](const auto& render) { return render != nullptr; });
    }
  }

 private:
  /// So far that threads need not meet often, and no reader falls too far behind the others.
  void go_on(std::size_t i) {
    for (int block = 0; block < kBlocksInARound && renders_[i]; ++block) {
      const auto got = renders_[i]->go_on();
      if (got && *got > 0) {
        done_[i] += *got;
        if (!progress_.advance(*got)) return;
        continue;
      }
      Outcome& outcome = outcomes_[group_[i]];
      if (got) {
        outcome.written = renders_[i]->written();
      } else {
        outcome.failure = got.error();
        if (got.error().kind == ErrorKind::unreadable)
          progress_.advance(shape_.frames - done_[i]);
        else
          progress_.abandon();
      }
      renders_[i].reset();
    }
  }

  static constexpr int kBlocksInARound = 8;

  const Group& group_;
  const StemShape& shape_;
  SharedFiles files_;
  Progress& progress_;
  std::vector<Outcome>& outcomes_;
  std::vector<std::unique_ptr<StemRender>> renders_;  // gone once they have ended
  std::vector<std::int64_t> done_;
};

/// Those that share files by all threads together, then the others each by one.
void render_all(const Work& work, int threads, Progress& progress, std::vector<Outcome>& outcomes) {
  std::vector<Group> alone = groups_of(work.stems);
  const auto render = [&](const Group& group, int by_threads) {
    if (progress.abandoned() || progress.interrupted()) return;
    GroupRender(group, work, progress, outcomes).run(by_threads);
  };
  for (const Group& group : alone)
    if (group.size() > 1) render(group, threads);
  std::erase_if(alone, [](const Group& group) { return group.size() > 1; });
  parallel_for(static_cast<int>(alone.size()), threads,
               [&](int i) { render(alone[static_cast<std::size_t>(i)], 1); });
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
                 "look at what the lineup says of each track"};
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
  std::vector<Outcome> outcomes(stems.size());
  Progress progress(options, shape->frames * std::ssize(stems));
  render_all({stems, *formats, session_folder, *shape, stems_folder}, options.threads, progress,
             outcomes);
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
