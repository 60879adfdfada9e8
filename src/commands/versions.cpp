#include "versions.h"

#include <ebur128.h>
#include <fftw3.h>
#include <fmt/format.h>
#include <sndfile.h>
#include <toml++/toml.h>

#include <CLI/Version.hpp>
#include <nlohmann/json.hpp>
#include <string_view>

#ifdef KILTER_LIBAV
extern "C" {
#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
#include <libavutil/avutil.h>
}
#endif

#ifndef KILTER_VERSION
#error "the build defines KILTER_VERSION"
#endif

namespace kilter::commands {
namespace {

std::string entry(std::string_view name, std::string_view version) {
  return fmt::format("  {:<14} {}\n", name, version);
}

/// "libsndfile-1.2.0" without the name.
std::string_view without_name(std::string_view text) {
  return text.substr(text.find('-') == std::string_view::npos ? 0 : text.find('-') + 1);
}

std::string dotted(int major, int minor, int patch) {
  return fmt::format("{}.{}.{}", major, minor, patch);
}

std::string loudness_version() {
  int major = 0;
  int minor = 0;
  int patch = 0;
  ebur128_get_version(&major, &minor, &patch);
  return dotted(major, minor, patch);
}

#ifdef KILTER_LIBAV
std::string libav_version(unsigned packed) {
  return dotted(static_cast<int>(packed >> 16U), static_cast<int>(packed >> 8U & 0xFFU),
                static_cast<int>(packed & 0xFFU));
}

std::string libav_entries() {
  return entry("libavformat", libav_version(avformat_version())) +
         entry("libavcodec", libav_version(avcodec_version())) +
         entry("libavutil", libav_version(avutil_version()));
}
#else
std::string libav_entries() { return entry("libavformat", "not in this build"); }
#endif

std::string compiler() {
#if defined(__clang__)
  return fmt::format("clang {}", __clang_version__);
#else
  return fmt::format("g++ {}", __VERSION__);
#endif
}

}  // namespace

std::string version_text() {
  return "kilter " KILTER_VERSION "\n" + entry("libsndfile", without_name(sf_version_string())) +
         libav_entries() + entry("FFTW", without_name(fftwf_version)) +
         entry("libebur128", loudness_version()) +
         entry("fmt", dotted(FMT_VERSION / 10000, FMT_VERSION / 100 % 100, FMT_VERSION % 100)) +
         entry("CLI11", CLI11_VERSION) +
         entry("nlohmann-json", dotted(NLOHMANN_JSON_VERSION_MAJOR, NLOHMANN_JSON_VERSION_MINOR,
                                       NLOHMANN_JSON_VERSION_PATCH)) +
         entry("toml++", dotted(TOML_LIB_MAJOR, TOML_LIB_MINOR, TOML_LIB_PATCH)) +
         entry("compiler", compiler());
}

}  // namespace kilter::commands
