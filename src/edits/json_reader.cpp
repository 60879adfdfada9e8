#include "json_reader.h"

#include <fmt/format.h>

#include <cmath>

namespace kilter::edits {
namespace {

const nlohmann::json kNothing;

std::string path_of(const Place& place, const char* key) {
  return place.path.empty() ? key : place.path + '.' + key;
}

const nlohmann::json* find(const Place& place, const char* key) {
  if (!place.value->is_object()) return &kNothing;
  const auto found = place.value->find(key);
  return found == place.value->end() ? &kNothing : &*found;
}

}  // namespace

void JsonReader::fail(const std::string& path, const std::string& what) {
  if (error_) return;
  error_ = Error{ErrorKind::unreadable, file_, path + ": " + what,
                 "mend it by hand, or align the session again"};
}

bool JsonReader::has(const Place& place, const char* key) const {
  return !find(place, key)->is_null();
}

Place JsonReader::member(const Place& place, const char* key) {
  const nlohmann::json* value = find(place, key);
  if (value->is_null()) fail(path_of(place, key), "is missing");
  return {value, path_of(place, key)};
}

std::vector<Place> JsonReader::list(const Place& place, const char* key) {
  const Place found = member(place, key);
  if (!found.value->is_array()) {
    fail(found.path, "must be a list");
    return {};
  }
  std::vector<Place> places;
  for (const nlohmann::json& value : *found.value)
    places.push_back({&value, found.path + '[' + std::to_string(places.size()) + ']'});
  return places;
}

std::string JsonReader::text(const Place& place, const char* key) {
  const Place found = member(place, key);
  const auto* value = found.value->get_ptr<const std::string*>();
  // The system would take it for the end of a name, and no table holds one.
  const bool holds_zero = value != nullptr && value->find('\0') != std::string::npos;
  if (value != nullptr && !holds_zero) return *value;
  fail(found.path, holds_zero ? "holds a zero byte" : "must be a text");
  return {};
}

bool JsonReader::truth(const Place& place, const char* key) {
  const Place found = member(place, key);
  if (const auto* value = found.value->get_ptr<const bool*>()) return *value;
  fail(found.path, "must be true or false");
  return false;
}

double JsonReader::number(const Place& place, const char* key) {
  const Place found = member(place, key);
  const double value = found.value->is_number() ? found.value->get<double>() : NAN;
  if (std::isfinite(value)) return value;
  fail(found.path, "must be a number");
  return 0.0;
}

double JsonReader::number_within(const Place& place, const char* key, double least, double most) {
  const double value = number(place, key);
  if (!(value >= least && value <= most))
    fail(path_of(place, key), fmt::format("must be a number from {} to {}", least, most));
  return value;
}

std::int64_t JsonReader::whole_number(const Place& place, const char* key, std::int64_t least,
                                      std::int64_t most) {
  const Place found = member(place, key);
  // A number above the signed range is held unsigned: as a double it can be compared first.
  const bool whole = found.value->is_number_integer() &&
                     found.value->get<double>() <= static_cast<double>(INT64_MAX / 2);
  const std::int64_t value = whole ? found.value->get<std::int64_t>() : least;
  if (!whole || value < least || value > most)
    fail(found.path,
         "must be a whole number from " + std::to_string(least) + " to " + std::to_string(most));
  return value;
}

}  // namespace kilter::edits
