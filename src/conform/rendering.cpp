#include "rendering.h"

#include <algorithm>
#include <memory>
#include <set>
#include <string>

#include "kilter/base/parallel.h"

namespace kilter::conform {
namespace {

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

using Renders = std::vector<std::unique_ptr<StemRender>>;

/// Writes the stems of a group side by side, on up to `threads` threads. Those that came to their
/// end are among `ended` then, by their places among all stems.
class GroupRender {
 public:
  GroupRender(const Group& group, const Work& work, Progress& progress,
              std::vector<Outcome>& outcomes, Renders& ended)
      : group_(group),
        shape_(work.shape),
        files_(work.session_folder),
        progress_(progress),
        outcomes_(outcomes),
        ended_(ended) {
    for (const std::size_t i : group) {
      renders_.emplace_back();
      if (work.formats[i])
        renders_.back() = std::make_unique<StemRender>(
            work.stems[i], files_, work.shape, work.folder / work.stems[i].file, *work.formats[i]);
      else
        give_up(i, work.formats[i].error(), shape_.frames);
    }
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
      if (got)
        ended_[group_[i]] = std::move(renders_[i]);
      else
        give_up(group_[i], got.error(), shape_.frames - done_[i]);
      renders_[i].reset();
    }
  }

  /// One stem, or all where its failure is no reader's.
  void give_up(std::size_t stem, const Error& error, std::int64_t frames_left) {
    outcomes_[stem].failure = error;
    if (error.kind == ErrorKind::unreadable)
      progress_.advance(frames_left);
    else
      progress_.abandon();
  }

  static constexpr int kBlocksInARound = 8;

  const Group& group_;
  const StemShape& shape_;
  SharedFiles files_;
  Progress& progress_;
  std::vector<Outcome>& outcomes_;
  Renders& ended_;
  Renders renders_;  // gone once they have ended
  std::vector<std::int64_t> done_;
};

}  // namespace

std::vector<Outcome> render_all(const Work& work, int threads, Progress& progress) {
  std::vector<Outcome> outcomes(work.stems.size());
  Renders ended(work.stems.size());
  std::vector<Group> alone = groups_of(work.stems);
  const auto render = [&](const Group& group, int by_threads) {
    if (progress.abandoned() || progress.interrupted()) return;
    GroupRender(group, work, progress, outcomes, ended).run(by_threads);
  };
  for (const Group& group : alone)
    if (group.size() > 1) render(group, threads);
  std::erase_if(alone, [](const Group& group) { return group.size() > 1; });
  parallel_for(static_cast<int>(alone.size()), threads,
               [&](int i) { render(alone[static_cast<std::size_t>(i)], 1); });
  // Waiting for the disk once costs what it costs for a single file, and nobody works meanwhile.
  parallel_for(static_cast<int>(ended.size()), threads, [&](int i) {
    const auto at = static_cast<std::size_t>(i);
    if (!ended[at] || progress.abandoned() || progress.interrupted()) return;
    if (auto done = ended[at]->finish(); done) {
      outcomes[at].written = ended[at]->written();
    } else {
      outcomes[at].failure = done.error();
      progress.abandon();
    }
    ended[at].reset();
  });
  return outcomes;
}

}  // namespace kilter::conform
