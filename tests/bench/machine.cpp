#include "machine.h"

#include <fmt/core.h>
#include <sys/utsname.h>
#include <unistd.h>

#include <fstream>

#include "kilter/base/parallel.h"

namespace kilter::bench {
namespace {

/// As Linux tells it; elsewhere only the kind of processor.
std::string processor(const utsname& system) {
  std::ifstream facts("/proc/cpuinfo");
  for (std::string line; std::getline(facts, line);)
    if (line.starts_with("model name")) return line.substr(line.find(':') + 2);
  return system.machine;
}

}  // namespace

std::string machine_text() {
  utsname system{};
  ::uname(&system);
#ifdef __clang__
  const std::string compiler = "clang " __clang_version__;
#else
  const std::string compiler = "g++ " __VERSION__;
#endif
  const double gigabytes = 1e-9 * static_cast<double>(::sysconf(_SC_PHYS_PAGES)) *
                           static_cast<double>(::sysconf(_SC_PAGESIZE));
  double load = 0.0;
  ::getloadavg(&load, 1);
  return fmt::format("{}, {} cores, {:.0f} GB, {} {}; {}; load {:.2f} when this began\n",
                     processor(system), available_threads(), gigabytes, system.sysname,
                     system.release, compiler, load);
}

}  // namespace kilter::bench
