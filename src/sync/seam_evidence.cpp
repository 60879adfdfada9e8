#include "seam_evidence.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

#include "normal_equations.h"

namespace kilter::sync {
namespace {

constexpr std::size_t kBlockBins = 100;  // half a second: one line or the other fits it
constexpr std::size_t kPageBlocks = 16;
constexpr double kLoading = 1e-4;  // of a track's power: two that are alike share a gain

/// Some blocks of everything that sounds, on the mix's grid.
struct Page {
  std::vector<float> mix;
  std::vector<std::vector<float>> before;  // the witnesses, then the steady tracks
  std::vector<std::vector<float>> after;   // the witnesses
};

class Reader {
 public:
  Reader(const AnalysisSignal& mix, const std::vector<SeamWitness>& witnesses,
         const std::vector<SteadyTrack>& steady)
      : mix_(mix), witnesses_(witnesses), steady_(steady) {}

  Result<Page> read(std::int64_t first, std::int64_t count) const {
    Page page;
    auto mix = read_bright(mix_, first, count);
    if (!mix) return mix.error();
    page.mix = *std::move(mix);
    const auto add = [&](const AnalysisSignal& signal, const LocalLine& line,
                         std::vector<std::vector<float>>& to) -> Result<void> {
      auto sound = read_through(signal, line, first, count);
      if (!sound) return sound.error();
      to.push_back(*std::move(sound));
      return {};
    };
    for (const SeamWitness& witness : witnesses_) {
      if (auto done = add(*witness.signal, witness.before, page.before); !done) return done.error();
      if (auto done = add(*witness.signal, witness.after, page.after); !done) return done.error();
    }
    for (const SteadyTrack& track : steady_)
      if (auto done = add(*track.signal, track.line, page.before); !done) return done.error();
    return page;
  }

 private:
  const AnalysisSignal& mix_;
  const std::vector<SeamWitness>& witnesses_;
  const std::vector<SteadyTrack>& steady_;
};

double product(const std::vector<float>& a, const std::vector<float>& b, std::size_t from,
               std::size_t to) {
  double sum = 0.0;
  for (std::size_t bin = from; bin < to; bin += kSeamBin) {
    float part = 0.0F;
    for (std::size_t i = bin; i < bin + kSeamBin; ++i) part += a[i] * b[i];
    sum += static_cast<double>(part);
  }
  return sum;
}

/// Products of all tracks with each other and with the mix.
class Normal {
 public:
  explicit Normal(std::size_t tracks)
      : tracks_(tracks), matrix_(tracks * tracks, 0.0), right_(tracks, 0.0) {}

  void measure(const std::vector<float>& mix, const std::vector<const std::vector<float>*>& sounds,
               std::size_t from, std::size_t to) {
    for (std::size_t i = 0; i < tracks_; ++i) {
      right_[i] = product(mix, *sounds[i], from, to);
      for (std::size_t j = 0; j <= i; ++j)
        matrix_[i * tracks_ + j] = product(*sounds[i], *sounds[j], from, to);
    }
  }
  Normal& operator+=(const Normal& other) {
    for (std::size_t i = 0; i < matrix_.size(); ++i) matrix_[i] += other.matrix_[i];
    for (std::size_t i = 0; i < tracks_; ++i) right_[i] += other.right_[i];
    return *this;
  }
  /// How well the first `count` tracks fit the mix, one by one.
  double fit(std::size_t count) const {
    double sum = 0.0;
    for (std::size_t i = 0; i < count; ++i)
      sum += right_[i] * right_[i] / (matrix_[i * tracks_ + i] + 1e-20);
    return sum;
  }
  /// The gains that leave least of the mix.
  std::vector<double> gains() const {
    std::vector<double> loaded = matrix_;
    for (std::size_t i = 0; i < tracks_; ++i)
      loaded[i * tracks_ + i] += kLoading * loaded[i * tracks_ + i] + 1e-20;
    NormalEquations equations(std::move(loaded), right_);
    return equations.solve() ? equations.solution() : std::vector<double>(tracks_, 0.0);
  }

 private:
  std::size_t tracks_;
  std::vector<double> matrix_;  // its lower half
  std::vector<double> right_;
};

std::vector<float> sum_of(const std::vector<const std::vector<float>*>& sounds,
                          const std::vector<double>& gains, std::size_t first, std::size_t last) {
  std::vector<float> sum(sounds.front()->size(), 0.0F);
  for (std::size_t k = first; k < last; ++k) {
    const auto gain = static_cast<float>(gains[k]);
    for (std::size_t i = 0; i < sum.size(); ++i) sum[i] += gain * (*sounds[k])[i];
  }
  return sum;
}

/// What all sound like where the witnesses lie on the line before, or on the line after.
std::vector<const std::vector<float>*> sounds_of(const Page& page, bool after) {
  std::vector<const std::vector<float>*> sounds;
  for (std::size_t k = 0; k < page.before.size(); ++k)
    sounds.push_back(after && k < page.after.size() ? &page.after[k] : &page.before[k]);
  return sounds;
}

void add_bins(const Page& page, const std::vector<double>& gains, SeamEvidence& out) {
  const std::size_t witnesses = page.after.size();
  const std::size_t all = page.before.size();
  const auto old_sounds = sounds_of(page, false);
  const std::vector<float> others = sum_of(old_sounds, gains, witnesses, all);
  const std::vector<float> old_part = sum_of(old_sounds, gains, 0, witnesses);
  const std::vector<float> new_part = sum_of(sounds_of(page, true), gains, 0, witnesses);
  for (std::size_t bin = 0; bin < page.mix.size(); bin += kSeamBin) {
    double left = 0.0;
    double old_cross = 0.0;
    double new_cross = 0.0;
    double old_power = 0.0;
    double new_power = 0.0;
    for (std::size_t i = bin; i < bin + kSeamBin; ++i) {
      const auto y = static_cast<double>(page.mix[i] - others[i]);
      const auto a = static_cast<double>(old_part[i]);
      const auto b = static_cast<double>(new_part[i]);
      left += y * y;
      old_cross += y * a;
      new_cross += y * b;
      old_power += a * a;
      new_power += b * b;
    }
    const double before = 2.0 * old_cross - old_power;
    const double after = 2.0 * new_cross - new_power;
    out.before.push_back(before);
    out.after.push_back(after);
    out.power_before.push_back(old_power);
    out.power_after.push_back(new_power);
    out.rest.push_back(std::max(left - std::max({before, after, 0.0}), 0.0));
  }
}

}  // namespace

Result<std::vector<float>> read_bright(const AnalysisSignal& signal, std::int64_t first,
                                       std::int64_t count) {
  std::vector<float> samples(static_cast<std::size_t>(count) + 1);
  if (auto done = signal.read(first - 1, samples); !done) return done.error();
  for (std::size_t i = 0; i + 1 < samples.size(); ++i)
    samples[i] = samples[i + 1] - 0.9F * samples[i];
  samples.pop_back();
  return samples;
}

// Straight between samples would dull it, so a cubic (Catmull-Rom).
Result<std::vector<float>> read_through(const AnalysisSignal& signal, const LocalLine& line,
                                        std::int64_t first, std::int64_t count) {
  const double from = line.to_track(static_cast<double>(first) / kAnalysisRateHz) * kAnalysisRateHz;
  const double step = 1.0 / line.rate;
  const auto base = static_cast<std::int64_t>(std::floor(from)) - 2;
  const auto needed = static_cast<std::int64_t>(std::ceil(static_cast<double>(count) * step)) + 8;
  auto samples = read_bright(signal, base, needed);
  if (!samples) return samples.error();
  std::vector<float> out(static_cast<std::size_t>(count));
  for (std::int64_t i = 0; i < count; ++i) {
    const double place = from + static_cast<double>(i) * step - static_cast<double>(base);
    const auto at = static_cast<std::size_t>(place);
    const auto t = static_cast<float>(place - static_cast<double>(at));
    const float* p = samples->data() + at;
    out[static_cast<std::size_t>(i)] =
        p[0] + 0.5F * t *
                   (p[1] - p[-1] +
                    t * (2.0F * p[-1] - 5.0F * p[0] + 4.0F * p[1] - p[2] +
                         t * (3.0F * (p[0] - p[1]) + p[2] - p[-1])));
  }
  return out;
}

Result<SeamEvidence> seam_evidence(const AnalysisSignal& mix,
                                   const std::vector<SeamWitness>& witnesses,
                                   const std::vector<SteadyTrack>& steady, std::int64_t first,
                                   std::size_t bins) {
  const Reader reader(mix, witnesses, steady);
  constexpr std::size_t kPageBins = kPageBlocks * kBlockBins;
  const auto each_page = [&](const auto& take) -> Result<void> {
    for (std::size_t from = 0; from < bins; from += kPageBins) {
      const auto count = std::min(kPageBins, bins - from);
      const auto page = reader.read(first + static_cast<std::int64_t>(from * kSeamBin),
                                    static_cast<std::int64_t>(count * kSeamBin));
      if (!page) return page.error();
      take(*page);
    }
    return {};
  };
  const std::size_t tracks = witnesses.size() + steady.size();
  Normal normal(tracks);
  Normal old_block(tracks);
  Normal new_block(tracks);
  auto done = each_page([&](const Page& page) {
    const auto old_sounds = sounds_of(page, false);
    const auto new_sounds = sounds_of(page, true);
    for (std::size_t from = 0; from < page.mix.size(); from += kBlockBins * kSeamBin) {
      const std::size_t to = std::min(from + kBlockBins * kSeamBin, page.mix.size());
      old_block.measure(page.mix, old_sounds, from, to);
      new_block.measure(page.mix, new_sounds, from, to);
      // A silent side cannot spoil the gains.
      normal += old_block.fit(witnesses.size()) >= new_block.fit(witnesses.size()) ? old_block
                                                                                   : new_block;
    }
  });
  if (!done) return done.error();
  const std::vector<double> gains = normal.gains();
  SeamEvidence evidence;
  done = each_page([&](const Page& page) { add_bins(page, gains, evidence); });
  if (!done) return done.error();
  return evidence;
}

}  // namespace kilter::sync
