#include "gateway/app/config_schema.h"

#include <algorithm>
#include <array>
#include <memory>
#include <nlohmann/json.hpp>
#include <numeric>
#include <set>
#include <valijson/adapters/nlohmann_json_adapter.hpp>
#include <valijson/schema.hpp>
#include <valijson/schema_parser.hpp>
#include <valijson/validator.hpp>

namespace driftline {
namespace {

struct Compiled {
  Json json;
  valijson::Schema schema;
};

const Compiled& compiled(ConfigSchema which) {
  static const auto make = [](ConfigSchema schema) {
    auto made = std::make_unique<Compiled>();
    made->json = Json::parse(schema_text(schema));
    valijson::SchemaParser parser(valijson::SchemaParser::kDraft7);
    parser.populateSchema(valijson::adapters::NlohmannJsonAdapter(made->json), made->schema);
    return made;
  };
  static const std::array all{make(ConfigSchema::gateway), make(ConfigSchema::plant),
                              make(ConfigSchema::thresholds), make(ConfigSchema::users), make(ConfigSchema::duty)};
  return *all[static_cast<std::size_t>(which)];
}

const Json& followed(const Json& root, const Json& schema) {
  const auto reference = schema.find("$ref");
  if (reference == schema.end()) return schema;
  return root.at(Json::json_pointer(reference->get<std::string>().substr(1)));
}

// The part of the schema that speaks of a place in the document; null where none does.
const Json* schema_at(const Json& root, const Json::json_pointer& place) {
  if (place.empty()) return &root;
  const Json* above = schema_at(root, place.parent_pointer());
  if (above == nullptr) return nullptr;
  if (const auto items = above->find("items"); items != above->end()) return &followed(root, *items);
  const auto properties = above->find("properties");
  if (properties != above->end())
    if (const auto property = properties->find(place.back()); property != properties->end()) return &followed(root, *property);
  const auto any = above->find("additionalProperties");  // whose names people choose
  return any == above->end() || !any->is_object() ? nullptr : &followed(root, *any);
}

std::string description_at(const Json& root, const Json::json_pointer& place) {
  const Json* schema = schema_at(root, place);
  return schema == nullptr ? "" : schema->value("description", "");
}

std::string pointer_of(const std::vector<std::string>& context) {
  std::string text;
  for (const std::string& step : context)
    if (step.size() >= 2 && step.front() == '[') text += pointer_step(step.substr(1, step.size() - 2));
  return text;
}

// The library names a property at the end of its sentence: "... 'name'."
std::string quoted_at_end(const std::string& text) {
  const auto last = text.rfind('\'');
  const auto first = text.rfind(" '", last);
  return first == std::string::npos || last == std::string::npos ? ""
                                                                 : text.substr(first + 2, last - first - 2);
}

std::vector<std::string> names_in(const Json* schema) {
  std::vector<std::string> names;
  if (schema == nullptr) return names;
  if (const auto properties = schema->find("properties"); properties != schema->end())
    for (const auto& [name, property] : properties->items()) names.push_back(name);
  return names;
}

// People do put the password itself where its file or variable belongs.
bool may_be_secret(const std::string& at) {
  return at.find("password") != std::string::npos || at.find("token") != std::string::npos;
}

std::string joined(const std::vector<std::string>& names) {
  return std::accumulate(names.begin(), names.end(), std::string{},
                         [](std::string text, const std::string& name) {
                           return text.empty() ? name : std::move(text) + ", " + name;
                         });
}

ConfigProblem unknown_name(const Json& root, const std::string& at, const std::string& name,
                           const std::string& file) {
  const std::vector<std::string> known = names_in(schema_at(root, Json::json_pointer(at)));
  const std::string_view near = nearest_name(name, known);
  return {file, at + pointer_step(name), "the name is not known here",
          near.empty() ? "one of " + joined(known) : "\"" + std::string(near) + "\""};
}

}  // namespace

std::string_view nearest_name(std::string_view name, const std::vector<std::string>& known) {
  std::string_view best;
  std::size_t least = 3;
  for (const std::string& candidate : known) {
    std::vector<std::size_t> row(candidate.size() + 1);
    std::iota(row.begin(), row.end(), 0U);
    for (std::size_t i = 0; i < name.size(); ++i) {
      std::size_t diagonal = row[0]++;
      for (std::size_t j = 0; j < candidate.size(); ++j) {
        const std::size_t swapped = diagonal + (name[i] == candidate[j] ? 0 : 1);
        diagonal = row[j + 1];
        row[j + 1] = std::min({swapped, row[j] + 1, row[j + 1] + 1});
      }
    }
    if (row.back() < least && row.back() * 2 < candidate.size()) {
      least = row.back();
      best = candidate;
    }
  }
  return best;
}

std::vector<std::string> known_names(ConfigSchema schema, const std::string& pointer) {
  return names_in(schema_at(compiled(schema).json, Json::json_pointer(pointer)));
}

void check_schema(ConfigSchema which, const Json& document, const std::string& file, const std::string& under,
                  std::vector<ConfigProblem>& problems) {
  const Compiled& rule = compiled(which);
  valijson::Validator validator(valijson::Validator::kStrongTypes);
  valijson::ValidationResults results;
  if (validator.validate(rule.schema, valijson::adapters::NlohmannJsonAdapter(document), &results)) return;
  std::set<std::string> told;  // anyOf reports each of its arms at one place
  valijson::ValidationResults::Error error;
  while (results.popError(error)) {
    // What only says that something below is wrong, which has been said there.
    if (error.description.starts_with("Failed to validate")) continue;
    const std::string at = pointer_of(error.context);
    ConfigProblem problem{file, under + at, "", ""};
    if (error.description.starts_with("Missing required property")) {
      const std::string name = quoted_at_end(error.description);
      problem.why = "\"" + name + "\" is missing";
      problem.remedy = description_at(rule.json, Json::json_pointer(at + pointer_step(name)));
    } else if (error.description.starts_with("Object contains a property")) {
      problem = unknown_name(rule.json, at, quoted_at_end(error.description), file);
      problem.at = under + problem.at;
    } else {
      problem.why =
          (may_be_secret(at) ? std::string("this text") : shown(document.at(Json::json_pointer(at)))) +
          " cannot stand here";
      problem.remedy = description_at(rule.json, Json::json_pointer(at));
    }
    if (told.insert(problem.at + problem.why).second) problems.push_back(std::move(problem));
  }
}

}  // namespace driftline
