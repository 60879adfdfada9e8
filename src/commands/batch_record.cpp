#include "batch_record.h"

#include <cstdint>
#include <nlohmann/json.hpp>
#include <utility>

#include "kilter/base/utf8.h"

namespace kilter::commands {
namespace {

using Json = nlohmann::ordered_json;

constexpr const char* kKind = "kilter batch session";

Json inputs_json(const std::vector<InputMark>& inputs) {
  Json list = Json::array();
  for (const InputMark& input : inputs)
    list.push_back({{"file", input.file},
                    {"bytes", input.bytes},
                    {"time_ns", input.time_ns},
                    {"digest", input.digest}});
  return list;
}

Json object_of(const BatchRecord& record) {
  Json object{{"kind", kKind},
              {"version", 1},
              {"name", record.name},
              {"folder", record.folder},
              {"archive", record.archive},
              {"exit", record.exit},
              {"standings", record.standings},
              {"worst_uncertainty_us", nullptr},
              {"findings", record.findings},
              {"seconds", record.seconds},
              {"threads", record.threads},
              {"sound_s", record.sound_s},
              {"ended", record.ended},
              {"program", record.program},
              {"options", record.options},
              {"inputs", inputs_json(record.inputs)},
              {"messages", record.messages}};
  if (record.worst_uncertainty_us) object["worst_uncertainty_us"] = *record.worst_uncertainty_us;
  return object;
}

std::string text_of(const Json& json, int indent) {
  return with_controls_escaped(json.dump(indent, ' ', false, Json::error_handler_t::replace)) +
         '\n';
}

/// Thrown and caught in this file only: a value that no batch writes, and sums of which would
/// overflow.
struct Impossible {};

constexpr int kMostCounted = 100'000;
constexpr double kLargestAmount = 1e12;

template <typename Number>
Number whole_from(const Json& value, Number least, Number most) {
  const bool fits =
      value.is_number_unsigned()
          ? std::in_range<Number>(value.get<std::uint64_t>())
          : value.is_number_integer() && std::in_range<Number>(value.get<std::int64_t>());
  if (!fits || value.get<Number>() < least || value.get<Number>() > most) throw Impossible{};
  return value.get<Number>();
}

double amount_from(const Json& value) {
  const double amount = value.is_number() ? value.get<double>() : -1.0;
  if (!(amount >= 0.0 && amount <= kLargestAmount)) throw Impossible{};
  return amount;
}

std::map<std::string, int> counts_from(const Json& object) {
  if (!object.is_object()) throw Impossible{};
  std::map<std::string, int> counts;
  for (const auto& [name, count] : object.items())
    counts[name] = whole_from(count, 0, kMostCounted);
  return counts;
}

InputMark input_from(const Json& input) {
  return {input.at("file").get<std::string>(),
          whole_from<std::uint64_t>(input.at("bytes"), 0, UINT64_MAX),
          whole_from<std::int64_t>(input.at("time_ns"), INT64_MIN, INT64_MAX),
          input.at("digest").get<std::string>()};
}

BatchRecord record_of(const Json& object) {
  constexpr int kLargestExit = 255;
  BatchRecord record;
  object.at("name").get_to(record.name);
  object.at("folder").get_to(record.folder);
  record.archive = object.value("archive", "");
  record.exit = whole_from(object.at("exit"), 0, kLargestExit);
  record.standings = counts_from(object.at("standings"));
  if (const Json& worst = object.at("worst_uncertainty_us"); !worst.is_null())
    record.worst_uncertainty_us = amount_from(worst);
  record.findings = counts_from(object.at("findings"));
  record.seconds = amount_from(object.at("seconds"));
  record.threads = whole_from(object.at("threads"), 0, kMostCounted);
  record.sound_s = amount_from(object.at("sound_s"));
  object.at("ended").get_to(record.ended);
  object.at("program").get_to(record.program);
  object.at("options").get_to(record.options);
  for (const Json& input : object.at("inputs")) record.inputs.push_back(input_from(input));
  object.at("messages").get_to(record.messages);
  return record;
}

}  // namespace

std::string to_line(const BatchRecord& record) { return text_of(object_of(record), -1); }

std::string to_json(const std::vector<BatchRecord>& records, const std::string& kind,
                    const std::map<std::string, int>& counts) {
  Json object{{"kind", kind}, {"version", 1}, {"counts", counts}, {"sessions", Json::array()}};
  for (const BatchRecord& record : records) {
    Json session = object_of(record);
    session.erase("kind");
    session.erase("version");
    object["sessions"].push_back(std::move(session));
  }
  return text_of(object, 2);
}

std::optional<BatchRecord> record_from_line(std::string_view line) {
  const Json object = Json::parse(line, nullptr, false);
  if (!object.is_object() || object.value("kind", Json()) != kKind) return std::nullopt;
  try {
    return record_of(object);
  } catch (const Json::exception&) {  // a key is missing, or of another type
    return std::nullopt;
  } catch (const Impossible&) {
    return std::nullopt;
  }
}

}  // namespace kilter::commands
