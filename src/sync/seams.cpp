#include "seams.h"

#include <algorithm>

namespace kilter::sync {

bool shows(const Seam& seam, std::size_t track) {
  return std::find(seam.tracks.begin(), seam.tracks.end(), track) != seam.tracks.end();
}

bool is_own(const Seam& seam, std::size_t track) {
  return (seam.cause == SeamCause::track || seam.cause == SeamCause::stream) && shows(seam, track);
}

double own_loss_s(const std::vector<Seam>& seams, std::size_t track) {
  double loss_s = 0.0;
  for (const Seam& seam : seams)
    if (is_own(seam, track)) loss_s += seam.step_s;
  return loss_s;
}

double own_loss_s(const std::vector<Seam>& seams, const Seam& seam, std::size_t track) {
  double loss_s = 0.0;
  for (const Seam& earlier : seams) {
    if (&earlier == &seam) break;
    if (is_own(earlier, track)) loss_s += earlier.step_s;
  }
  return loss_s;
}

TrackCut cut_of(const std::vector<Seam>& seams, const Seam& seam, std::size_t track, double rate) {
  const double earlier_s =
      (own_loss_s(seams, seam, track) - own_loss_s(seams, seam, seam.placed_by)) / rate;
  return {seam.place.track_end_s - earlier_s, seam.place.track_from_s - earlier_s};
}

}  // namespace kilter::sync
