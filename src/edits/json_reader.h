#pragma once

#include <cstdint>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "kilter/base/result.h"

namespace kilter::edits {

/// A value in a JSON document and the way to it, for example `tracks[2].parts`.
struct Place {
  const nlohmann::json* value;
  std::string path;
};

/// Reads a JSON document by keys and keeps the first thing that is wrong with it. After that, and
/// for whatever is missing, every getter gives an empty value: a caller reads all it wants and asks
/// for the error once. A null counts as missing.
class JsonReader {
 public:
  JsonReader(nlohmann::json document, std::filesystem::path file)
      : document_(std::move(document)), file_(std::move(file)) {}
  JsonReader(const JsonReader&) = delete;
  JsonReader& operator=(const JsonReader&) = delete;

  Place root() const { return {&document_, ""}; }
  const std::optional<Error>& error() const { return error_; }
  /// Keeps an error about `path`, unless there is one.
  void fail(const std::string& path, const std::string& what);

  bool has(const Place& place, const char* key) const;
  Place member(const Place& place, const char* key);
  std::vector<Place> list(const Place& place, const char* key);
  std::string text(const Place& place, const char* key);
  bool truth(const Place& place, const char* key);
  /// Finite.
  double number(const Place& place, const char* key);
  double number_within(const Place& place, const char* key, double least, double most);
  std::int64_t whole_number(const Place& place, const char* key, std::int64_t least,
                            std::int64_t most);

 private:
  nlohmann::json document_;
  std::filesystem::path file_;
  std::optional<Error> error_;
};

}  // namespace kilter::edits
