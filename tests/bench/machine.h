// What a measurement was made on, as a line for people.
#pragma once

#include <string>

namespace kilter::bench {

/// Processor, cores that this process may use, memory, compiler and system.
std::string machine_text();

}  // namespace kilter::bench
