#include "analysis.h"

#include <memory>
#include <stdexcept>

#include "kilter/intake/intake.h"

namespace kilter::bench {
namespace {

/// Stages in the order in which they came.
class Stopwatch {
 public:
  void enter(const std::string& stage) {
    if (!stages_.empty() && stages_.back().name == stage) return;
    leave();
    stages_.push_back({stage, {}});
    start_ = now();
  }
  void leave() {
    if (!stages_.empty()) stages_.back().cost += since(start_);
    start_ = now();
  }

  const std::vector<Stage>& stages() const { return stages_; }

 private:
  std::vector<Stage> stages_;
  Cost start_;
};

}  // namespace

Analysis analyse(const Files& files, int threads) {
  Stopwatch watch;
  watch.enter("intake");
  intake::IntakeOptions options;
  options.threads = threads;
  const auto taken = intake::take_in_all({files.begin(), files.end()}, options);
  Analysis analysis;
  std::vector<sync::TrackInput> tracks;
  std::vector<std::shared_ptr<const AnalysisSignal>> signals;
  for (const auto& file : taken) {
    if (!file) throw std::runtime_error(file.error().what);
    signals.push_back(intake::whole_signal(*file));
    const double length_s = static_cast<double>(file->length.n) / file->info.rate.hz;
    analysis.seconds_of_sound += length_s;
    tracks.push_back({file->file.stem().string(), signals.back().get(), length_s, file->info.lossy,
                      file->info.rate.hz});
  }
  const sync::MixInput mix{tracks.front().signal, tracks.front().length_s, tracks.front().lossy};
  tracks.erase(tracks.begin());
  sync::AlignOptions align;
  align.threads = threads;
  align.progress = [&](double, const char* stage) { watch.enter(stage); };
  auto alignment = sync::align(mix, tracks, align);
  if (!alignment) throw std::runtime_error(alignment.error().what);
  watch.leave();
  analysis.alignment = *std::move(alignment);
  analysis.stages = watch.stages();
  return analysis;
}

}  // namespace kilter::bench
