// Whoever is heard in the mix goes there by one way, and what leaks into his file comes back by
// another.
#pragma once

#include <atomic>
#include <vector>

#include "kilter/base/result.h"
#include "window_spectra.h"

namespace kilter::sync {

/// How much of the stretches of `file` the mix holds later than what else it shares with the file:
/// his own words, which were sent to the mix, where the rest was sent from there. Not so a chime on
/// his machine, what a coder made of lost packets, or what the mix has lost. Stretches in order of
/// their worth; no more are looked at once there is `enough_s`, and only the first 60. `file` and
/// `mix` as that rest stands in both. Fails where a signal cannot be read, and with `interrupted`
/// soon after `stop` is set. Cost: four transforms of 2^18 a stretch. Memory: 9 MB.
Result<double> outgoing_words_s(const PlacedSignal& file, const PlacedSignal& mix,
                                const std::vector<Stretch>& stretches, double enough_s,
                                const std::atomic<bool>* stop);

}  // namespace kilter::sync
