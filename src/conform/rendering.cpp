#include "rendering.h"

#include <algorithm>
#include <memory>
#include <mutex>
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

/// Stems that came to their end and are still to be put in place. Waiting for the disk costs the
/// same for some as for one; but each is an open file.
class Endings {
 public:
  Endings(Progress& progress, std::vector<Outcome>& outcomes)
      : progress_(progress), outcomes_(outcomes) {}

  void add(std::size_t stem, std::unique_ptr<StemRender> render) {
    const std::lock_guard lock(mutex_);  // nobody goes on meanwhile, and opens more
    waiting_.push_back({stem, std::move(render)});
    if (waiting_.size() < kMostWaiting) return;
    for (Ended& ended : waiting_) finish(ended);
    waiting_.clear();
  }

  void finish_all(int threads) {
    parallel_for(static_cast<int>(waiting_.size()), threads,
                 [&](int i) { finish(waiting_[static_cast<std::size_t>(i)]); });
  }

 private:
  struct Ended {
    std::size_t stem;
    std::unique_ptr<StemRender> render;
  };
  static constexpr std::size_t kMostWaiting = 16;

  void finish(Ended& ended) {
    if (progress_.abandoned() || progress_.interrupted()) return;
    if (auto done = ended.render->finish(); done) {
      outcomes_[ended.stem].written = ended.render->written();
    } else {
      outcomes_[ended.stem].failure = done.error();
      progress_.abandon();
    }
    ended.render.reset();
  }

  Progress& progress_;
  std::vector<Outcome>& outcomes_;
  std::mutex mutex_;
  std::vector<Ended> waiting_;
};

/// Writes the stems of a group side by side, on up to `threads` threads.
class GroupRender {
 public:
  GroupRender(const Group& group, const Work& work, Progress& progress,
              std::vector<Outcome>& outcomes, Endings& endings)
      : group_(group),
        shape_(work.shape),
        files_(work.session_folder),
        progress_(progress),
        outcomes_(outcomes),
        endings_(endings) {
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
        endings_.add(group_[i], std::move(renders_[i]));
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
  Endings& endings_;
  Renders renders_;  // gone once they have ended
  std::vector<std::int64_t> done_;
};

}  // namespace

std::vector<Outcome> render_all(const Work& work, int threads, Progress& progress) {
  std::vector<Outcome> outcomes(work.stems.size());
  Endings endings(progress, outcomes);
  std::vector<Group> alone = groups_of(work.stems);
  const auto render = [&](const Group& group, int by_threads) {
    if (progress.abandoned() || progress.interrupted()) return;
    GroupRender(group, work, progress, outcomes, endings).run(by_threads);
  };
  for (const Group& group : alone)
    if (group.size() > 1) render(group, threads);
  std::erase_if(alone, [](const Group& group) { return group.size() > 1; });
  parallel_for(static_cast<int>(alone.size()), threads,
               [&](int i) { render(alone[static_cast<std::size_t>(i)], 1); });
  endings.finish_all(threads);
  return outcomes;
}

}  // namespace kilter::conform
