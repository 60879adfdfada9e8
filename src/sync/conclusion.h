// From the last maps to placings and findings.
#pragma once

#include "aligning.h"

namespace kilter::sync {

Result<Alignment> conclude(Aligning& session);

}  // namespace kilter::sync
