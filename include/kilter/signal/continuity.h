// Whether one stretch of sound goes on in another.
#pragma once

#include <span>

namespace kilter {

/// By how many nats the two stretches are likelier to be one sound cut in two than two sounds put
/// together: positive where `head` goes on what `tail` leaves off, near 0 where the sound cannot
/// tell (white noise, or nothing at all). Compares the Gaussian likelihood of the 24 frames around
/// the joint, with the autocorrelation of both stretches, when they belong together and when they
/// do not. One channel; the nearer to 4096 frames each, the better; under 256 tells nothing: 0.
/// Limited to +-15. Cost: some 0.2 ms.
double continuity_nats(std::span<const float> tail, std::span<const float> head);

}  // namespace kilter
