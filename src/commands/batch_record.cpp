#include "batch_record.h"

#include <nlohmann/json.hpp>

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
  return json.dump(indent, ' ', false, Json::error_handler_t::replace) + '\n';
}

BatchRecord record_of(const Json& object) {
  BatchRecord record;
  object.at("name").get_to(record.name);
  object.at("folder").get_to(record.folder);
  object.at("exit").get_to(record.exit);
  record.standings = object.at("standings").get<std::map<std::string, int>>();
  if (const Json& worst = object.at("worst_uncertainty_us"); !worst.is_null())
    record.worst_uncertainty_us = worst.get<double>();
  record.findings = object.at("findings").get<std::map<std::string, int>>();
  object.at("seconds").get_to(record.seconds);
  object.at("threads").get_to(record.threads);
  object.at("sound_s").get_to(record.sound_s);
  object.at("ended").get_to(record.ended);
  object.at("program").get_to(record.program);
  object.at("options").get_to(record.options);
  for (const Json& input : object.at("inputs"))
    record.inputs.push_back(
        {input.at("file").get<std::string>(), input.at("bytes").get<std::uint64_t>(),
         input.at("time_ns").get<std::int64_t>(), input.at("digest").get<std::string>()});
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
  }
}

}  // namespace kilter::commands
