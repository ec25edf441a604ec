#include "gateway/telemetry/mapped.h"

#include <simdjson.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <set>

#include "gateway/telemetry/json_payload.h"
#include "gateway/telemetry/json_pointer.h"
#include "gateway/telemetry/json_text.h"
#include "gateway/telemetry/json_values.h"
#include "gateway/telemetry/limits.h"
#include "gateway/telemetry/mapped_figures.h"
#include "gateway/telemetry/topic_text.h"

namespace driftline {
namespace {

namespace limits = telemetry_limits;
namespace values = json_values;
using simdjson::dom::element;
using simdjson::dom::element_type;

// ---- mappings made ready ----

struct Level {
  enum class Is : std::uint8_t { literal, any, site, station } is = Is::literal;
  std::string text;
};

struct Figure {
  JsonPointer at;
  FigureReading reading;
};
struct Switch {
  JsonPointer at;
  MappedSwitch words;
};
struct TimeField {
  JsonPointer at;
  double to_ms = 0;  // 0: as in our own shape
};

struct Ready {
  Mapping plain;
  std::vector<Level> topic;
  JsonPointer samples;
  std::optional<TimeField> time;
  std::optional<Figure> seq, line, level, temp;
  std::optional<Figure> pressures;
  std::vector<std::optional<Figure>> line_pressures;
  std::optional<Switch> pump, level_low, online;
  std::optional<Figure> cycle, pump_limit, target, residual, lines;
};

std::vector<std::string_view> split(std::string_view topic) {
  std::vector<std::string_view> levels;
  for (std::size_t begin = 0; begin <= topic.size();) {
    const std::size_t end = std::min(topic.find('/', begin), topic.size());
    levels.push_back(topic.substr(begin, end - begin));
    begin = end + 1;
  }
  return levels;
}

class Preparation {
 public:
  Preparation(std::vector<MappingMistake>& mistakes, std::size_t index) : check_(mistakes) { append_pointer(root_, index); }

  Ready ready(const Mapping& mapping) {
    Ready out;
    out.plain = mapping;
    topic(mapping, out);
    out.samples = pointer("/samples", mapping.samples);
    switch (mapping.kind) {
      case TopicKind::telemetry: sample(mapping.sample, out); break;
      case TopicKind::settings: settings(mapping.settings, out); break;
      case TopicKind::presence:
        out.online = a_switch("/online", mapping.online);
        if (!out.online) check_.wrong(root_ + "/online", "presence without its state", "where the state stands");
        break;
      case TopicKind::service:
        check_.wrong(root_ + "/kind", "service notes cannot be mapped", "telemetry, settings or presence");
        break;
    }
    return out;
  }

 private:
  void topic(const Mapping& mapping, Ready& out) {
    bool site_named = false;
    bool station_named = false;
    for (const std::string_view level : split(mapping.topic)) {
      Level& read = out.topic.emplace_back();
      read.text = level;
      if (level == "+") read.is = Level::Is::any;
      else if (level == "{site}") read.is = Level::Is::site;
      else if (level == "{station}") read.is = Level::Is::station;
      else if (level.find_first_of("#+{}") != std::string_view::npos)
        check_.wrong(root_ + "/topic", in_quotes(level) + " is no level of a pattern", "a literal level, +, {site} or {station}");
      (read.is == Level::Is::site ? site_named : station_named) |= read.is == Level::Is::site || read.is == Level::Is::station;
    }
    if (mapping.topic.empty()) check_.wrong(root_ + "/topic", "no topic", "plant/{site}/{station}/state");
    named("/site", "{site}", mapping.site, site_named);
    named("/station", "{station}", mapping.station, station_named);
  }

  void named(const char* where, const std::string& level, const std::string& constant, bool in_topic) {
    if (in_topic == !constant.empty())
      check_.wrong(root_ + where, in_topic ? "named here and in the topic" : "named neither here nor in the topic",
                   "either here or as " + level + " in the topic");
    else if (!in_topic) check_.site(root_ + where, constant);
  }

  JsonPointer pointer(const std::string& where, const std::string& text) {
    auto read = JsonPointer::parse(text);
    if (!read) check_.wrong(root_ + where, in_quotes(text) + " is no JSON Pointer", "empty, or /name and /0 for each step, ~1 for / and ~0 for ~");
    return read.value_or(JsonPointer{});
  }

  std::optional<Figure> figure(const std::string& where, const std::optional<MappedField>& field, std::optional<FigureRule> rule) {
    if (!field) return std::nullopt;
    return Figure{pointer(where + "/at", field->at), check_.reading(root_ + where, *field, rule)};
  }

  std::optional<Switch> a_switch(const std::string& where, const std::optional<MappedSwitch>& field) {
    if (!field) return std::nullopt;
    check_.words(root_ + where, *field);
    return Switch{pointer(where + "/at", field->at), *field};
  }

  void time(const MappedField& field, Ready& out) {
    double to_ms = 0;
    if (field.unit == "s") to_ms = 1000;
    else if (field.unit == "ms") to_ms = 1;
    else if (field.unit == "us") to_ms = 1e-3;
    else if (field.unit == "ns") to_ms = 1e-6;
    else if (!field.unit.empty()) check_.wrong(root_ + "/sample/time/unit", in_quotes(field.unit) + " is no unit of time since 1970", "none, s, ms, us or ns");
    out.time = TimeField{pointer("/sample/time/at", field.at), to_ms};
  }

  void sample(const MappedSample& fields, Ready& out) {
    if (fields == MappedSample{}) check_.wrong(root_ + "/sample", "no field is mapped", "at least one of them");
    if (fields.time) time(*fields.time, out);
    out.seq = figure("/sample/seq", fields.seq, std::nullopt);
    out.pump = a_switch("/sample/pump", fields.pump);
    out.line = figure("/sample/line", fields.line, std::nullopt);
    out.pressures = figure("/sample/pressures", fields.pressures, pressure_rule);
    if (fields.line_pressures.size() > static_cast<std::size_t>(lines_max))
      check_.wrong(root_ + "/sample/line_pressures", "more than 8 lines", "one for each of at most 8 lines");
    if (fields.pressures && !fields.line_pressures.empty())
      check_.wrong(root_ + "/sample/line_pressures", "stands beside pressures", "one of the two");
    for (std::size_t i = 0; i < fields.line_pressures.size(); ++i) {
      std::optional<MappedField> field = fields.line_pressures[i];
      if (field->at.empty()) field.reset();
      std::string where = "/sample/line_pressures";
      append_pointer(where, i);
      out.line_pressures.push_back(figure(where, field, pressure_rule));
    }
    out.level = figure("/sample/level", fields.level, level_rule);
    out.level_low = a_switch("/sample/level_low", fields.level_low);
    out.temp = figure("/sample/temp", fields.temp, temp_rule);
  }

  void settings(const MappedSettings& fields, Ready& out) {
    if (fields == MappedSettings{}) check_.wrong(root_ + "/settings", "no field is mapped", "at least one of them");
    out.cycle = figure("/settings/cycle", fields.cycle, cycle_rule);
    out.pump_limit = figure("/settings/pump_limit", fields.pump_limit, pump_limit_rule);
    out.target = figure("/settings/target", fields.target, target_rule);
    out.residual = figure("/settings/residual", fields.residual, residual_rule);
    out.lines = figure("/settings/lines", fields.lines, std::nullopt);
  }

  MappingCheck check_;
  std::string root_;
};

// ---- values out of a payload ----

// One sample, or the one object of settings or presence.
class Reading {
 public:
  Reading(const element& root, std::string prefix, bool loose, std::vector<Fault>& faults)
      : root_(root), prefix_(std::move(prefix)), loose_(loose), faults_(faults), faults_before_(faults.size()) {}

  [[nodiscard]] bool faulted() const { return faults_.size() > faults_before_; }
  void drop_faults() { faults_.resize(faults_before_); }

  void fault(FaultCode code, const std::string& at, std::string why, std::string remedy) {
    faults_.push_back({code, prefix_ + at, std::move(why), std::move(remedy)});
  }

  // null counts as absent.
  [[nodiscard]] std::optional<element> found(const JsonPointer& at) const {
    element value;
    if (!at.find(root_, value) || value.is_null()) return std::nullopt;
    return value;
  }

  [[nodiscard]] std::optional<double> number(const element& value) const {
    switch (value.type()) {
      case element_type::DOUBLE: return value.get_double().value_unsafe();
      case element_type::INT64: return static_cast<double>(value.get_int64().value_unsafe());
      case element_type::UINT64: return static_cast<double>(value.get_uint64().value_unsafe());
      case element_type::STRING: return number_in_text(value.get_string().value_unsafe());
      default: return std::nullopt;
    }
  }

  std::optional<double> figure(const element& value, const FigureReading& reading, const std::string& at, const FigureRule& rule) {
    const auto raw = number(value);
    if (!raw) {
      fault(FaultCode::wrong_type, at, values::describe(value, loose_), std::string(rule.remedy));
      return std::nullopt;
    }
    const double ours = reading.ours(*raw);
    if (rule.holds(ours)) return ours;
    fault(FaultCode::out_of_range, at, number_as_word(*raw) + " is out of range", std::string(rule.remedy));
    return std::nullopt;
  }

  std::optional<double> figure(const std::optional<Figure>& field, const FigureRule& rule) {
    if (!field) return std::nullopt;
    const auto value = found(field->at);
    if (!value) return std::nullopt;
    return figure(*value, field->reading, field->at.text(), rule);
  }

  std::optional<std::int64_t> count(const std::optional<Figure>& field, double min, double max, const char* remedy) {
    if (!field) return std::nullopt;
    const auto value = found(field->at);
    if (!value) return std::nullopt;
    const auto raw = number(*value);
    const double ours = raw ? field->reading.ours(*raw) : 0;
    if (raw && ours >= min && ours <= max && std::trunc(ours) == ours) return static_cast<std::int64_t>(ours);
    fault(raw ? FaultCode::out_of_range : FaultCode::wrong_type, field->at.text(),
          raw ? number_as_word(*raw) + " is out of range" : values::describe(*value, loose_), remedy);
    return std::nullopt;
  }

  std::optional<bool> state(const std::optional<Switch>& field) {
    if (!field) return std::nullopt;
    const auto value = found(field->at);
    if (!value) return std::nullopt;
    const auto word = as_word(*value);
    const auto state = word ? switch_state(field->words, *word) : std::nullopt;
    if (!state)
      fault(word ? FaultCode::out_of_range : FaultCode::wrong_type, field->at.text(), values::describe(*value, loose_), switch_remedy(field->words));
    return state;
  }

  std::optional<Time> time(const TimeField& field, Time received) {
    const auto value = found(field.at);
    if (!value) {
      fault(FaultCode::missing_field, field.at.text(), "no time", "when it was measured");
      return std::nullopt;
    }
    if (field.to_ms == 0) {
      const auto read = values::time(*value, received, values::Place{faults_, loose_, std::nullopt});
      if (!read) faults_.back().where = prefix_ + field.at.text();
      return read;
    }
    const auto raw = number(*value);
    const double ms = raw ? *raw * field.to_ms : 0;
    constexpr double year_9999_ms = 253'402'300'799'999.0;
    if (raw && std::abs(ms) <= year_9999_ms && values::plausible(time_from_ms(std::llround(std::floor(ms))), received))
      return time_from_ms(std::llround(std::floor(ms)));
    fault(raw ? FaultCode::time_implausible : FaultCode::time_unreadable, field.at.text(),
          values::describe(*value, loose_) + (raw ? ": far from when the message was received" : ""),
          "time since 1970 in the unit that the mapping says");
    return std::nullopt;
  }

  void pressures(const Ready& mapping, Pressures& out) {
    if (mapping.pressures) return pressure_list(*mapping.pressures, out);
    for (const auto& field : mapping.line_pressures) out.append(figure(field, pressure_rule));
    if (out.given == 0) out = {};  // a message without any of them, not one in which every sensor is silent
  }

 private:
  void pressure_list(const Figure& field, Pressures& out) {
    const auto value = found(field.at);
    if (!value) return;
    if (value->type() != element_type::ARRAY) return fault(FaultCode::wrong_type, field.at.text(), values::describe(*value, loose_), "a list of pressures, line 1 first");
    const simdjson::dom::array items = value->get_array().value_unsafe();
    std::size_t index = 0;
    bool silent = false;
    for (const element item : items) {
      if (out.lines == lines_max) return fault(FaultCode::out_of_range, field.at.text(), "more than 8 pressures; the first 8 were used", "one for each line");
      std::string at = field.at.text();
      append_pointer(at, index++);
      const std::size_t before = faults_.size();
      out.append(item.is_null() ? std::nullopt : figure(item, field.reading, at, pressure_rule));
      if (silent) faults_.resize(before);
      silent = silent || faults_.size() > before;
    }
  }

  [[nodiscard]] std::optional<std::string> as_word(const element& value) const {
    switch (value.type()) {
      case element_type::BOOL: return value.get_bool().value_unsafe() ? "true" : "false";
      case element_type::STRING: return std::string(value.get_string().value_unsafe());
      case element_type::DOUBLE:
      case element_type::INT64:
      case element_type::UINT64: return number_as_word(*number(value));
      default: return std::nullopt;
    }
  }

  element root_;
  std::string prefix_;
  bool loose_;
  std::vector<Fault>& faults_;
  std::size_t faults_before_;
};

constexpr double seq_max = 9007199254740992.0;  // beyond, a double skips whole numbers

bool has_content(const Sample& sample) {
  return sample.pump || sample.line || sample.pressure.lines > 0 || sample.level_pct || sample.level_low || sample.temp_c;
}

void read_sample(const Ready& mapping, Reading reading, Time received, Decoded& out) {
  Sample sample;
  sample.time = received;
  if (mapping.time) {
    const auto time = reading.time(*mapping.time, received);
    if (!time) {
      ++out.samples_refused;
      return;
    }
    sample.time = *time;
  }
  if (const auto seq = reading.count(mapping.seq, 0, seq_max, "a whole number from 0")) sample.seq = static_cast<std::uint64_t>(*seq);
  sample.pump = reading.state(mapping.pump);
  if (const auto line = reading.count(mapping.line, 1, lines_max, "a whole number from 1 to 8 after scale and offset"))
    sample.line = static_cast<int>(*line);
  reading.pressures(mapping, sample.pressure);
  sample.level_pct = reading.figure(mapping.level, level_rule);
  sample.level_low = reading.state(mapping.level_low);
  sample.temp_c = reading.figure(mapping.temp, temp_rule);
  if (has_content(sample)) {
    out.samples.push_back(sample);
    return;
  }
  ++out.samples_refused;
  if (!reading.faulted()) reading.fault(FaultCode::missing_field, {}, "none of the mapped fields is there", "a message as the mapping " + in_quotes(mapping.plain.name) + " describes it");
}

void read_samples(const Ready& mapping, const element& at, bool loose, Time received, Decoded& out) {
  if (at.type() != element_type::ARRAY) return read_sample(mapping, Reading(at, mapping.plain.samples, loose, out.faults), received, out);
  const simdjson::dom::array items = at.get_array().value_unsafe();
  std::size_t index = 0;
  for (const element item : items) {
    std::string prefix = mapping.plain.samples;
    append_pointer(prefix, index);
    if (index++ == limits::samples_per_message_max) {
      out.faults.push_back({FaultCode::batch_too_long, prefix, "the batch is too long; what stands from here on was not used",
                            "at most " + std::to_string(limits::samples_per_message_max) + " samples a message"});
      out.samples_refused += items.size() - limits::samples_per_message_max;
      return;
    }
    read_sample(mapping, Reading(item, std::move(prefix), loose, out.faults), received, out);
  }
}

void read_settings(const Ready& mapping, Reading reading, Decoded& out) {
  ControllerSettings settings;
  settings.cycle_s = reading.figure(mapping.cycle, cycle_rule);
  settings.pump_limit_s = reading.figure(mapping.pump_limit, pump_limit_rule);
  settings.target_bar = reading.figure(mapping.target, target_rule);
  settings.residual_bar = reading.figure(mapping.residual, residual_rule);
  if (const auto lines = reading.count(mapping.lines, 1, lines_max, "a whole number from 1 to 8")) settings.lines = static_cast<int>(*lines);
  if (settings.residual_bar && settings.target_bar && *settings.residual_bar >= *settings.target_bar) {
    reading.fault(FaultCode::out_of_range, mapping.residual->at.text(), "the residual limit is not under the target", std::string(residual_rule.remedy));
    settings.residual_bar.reset();
  }
  if (settings != ControllerSettings{} || !reading.faulted()) out.settings = settings;
}

void read_presence(const Ready& mapping, Reading reading, Time received, Decoded& out) {
  const auto online = reading.state(mapping.online);
  if (online) out.presence = PresenceChange{received, *online};
  else if (!reading.faulted()) reading.fault(FaultCode::missing_field, mapping.online->at.text(), "no state", switch_remedy(mapping.online->words));
}

// The levels that name site and station; empty when the topic is not of the pattern.
struct Names {
  std::string_view site, station;
};
std::optional<Names> names_in(const Ready& mapping, const std::vector<std::string_view>& levels) {
  if (levels.size() != mapping.topic.size()) return std::nullopt;
  Names names{mapping.plain.site, mapping.plain.station};
  for (std::size_t i = 0; i < levels.size(); ++i) {
    switch (mapping.topic[i].is) {
      case Level::Is::literal:
        if (levels[i] != mapping.topic[i].text) return std::nullopt;
        break;
      case Level::Is::any: break;
      case Level::Is::site: names.site = levels[i]; break;
      case Level::Is::station: names.station = levels[i]; break;
    }
  }
  return names;
}

}  // namespace

struct MappedDecoder::Parts {
  std::vector<Ready> mappings;
  JsonPayload json;
};

MappedDecoder::MappedDecoder(std::unique_ptr<Parts> parts) : parts_(std::move(parts)) {}
MappedDecoder::~MappedDecoder() = default;
MappedDecoder::MappedDecoder(MappedDecoder&&) noexcept = default;
MappedDecoder& MappedDecoder::operator=(MappedDecoder&&) noexcept = default;

tl::expected<MappedDecoder, std::vector<MappingMistake>> MappedDecoder::make(std::vector<Mapping> mappings) {
  auto parts = std::make_unique<Parts>();
  std::vector<MappingMistake> mistakes;
  for (std::size_t i = 0; i < mappings.size(); ++i) parts->mappings.push_back(Preparation(mistakes, i).ready(mappings[i]));
  if (!mistakes.empty()) return tl::unexpected(std::move(mistakes));
  return MappedDecoder(std::move(parts));
}

std::optional<MappedDecoder::Match> MappedDecoder::match(std::string_view topic) const {
  const std::vector<std::string_view> levels = split(topic);
  for (std::size_t i = 0; i < parts_->mappings.size(); ++i) {
    const auto names = names_in(parts_->mappings[i], levels);
    if (!names) continue;
    Match match{i, {}};
    for (const std::string_view id : {names->site, names->station})
      if (!is_id(id) && !match.outcome.fault)
        match.outcome.fault = Fault{FaultCode::bad_topic, {}, in_quotes(id) + " cannot name a site or station", "1 to 64 characters of A-Z a-z 0-9 . _ -"};
    if (match.outcome.fault) return match;
    match.outcome.station = StationId{std::string(names->site), std::string(names->station)};
    match.outcome.topic = Topic{*match.outcome.station, parts_->mappings[i].plain.kind};
    return match;
  }
  return std::nullopt;
}

void MappedDecoder::decode(std::size_t mapping, std::string_view payload, Time received, Decoded& out) {
  const Ready& ready = parts_->mappings.at(mapping);
  out.clear();
  element root;
  const bool telemetry = ready.plain.kind == TopicKind::telemetry;
  if (!parts_->json.parse(payload, root, out.faults)) {
    out.samples_refused = telemetry ? 1 : 0;
    return;
  }
  const bool loose = parts_->json.loose();
  element at;
  if (!ready.samples.find(root, at)) {
    out.faults.push_back({FaultCode::missing_field, ready.plain.samples, "nothing stands here", "a message as the mapping " + in_quotes(ready.plain.name) + " describes it"});
    out.samples_refused = telemetry ? 1 : 0;
    return;
  }
  switch (ready.plain.kind) {
    case TopicKind::telemetry: read_samples(ready, at, loose, received, out); break;
    case TopicKind::settings: read_settings(ready, Reading(at, ready.plain.samples, loose, out.faults), out); break;
    case TopicKind::presence: read_presence(ready, Reading(at, ready.plain.samples, loose, out.faults), received, out); break;
    case TopicKind::service: break;  // refused by make
  }
  parts_->json.finish(payload, out.faults);
}

std::vector<std::string> MappedDecoder::topic_filters() const {
  std::set<std::string> filters;
  for (const Ready& mapping : parts_->mappings) {
    std::string filter;
    for (const Level& level : mapping.topic) {
      if (&level != &mapping.topic.front()) filter += '/';
      filter += level.is == Level::Is::literal ? level.text : "+";
    }
    filters.insert(std::move(filter));
  }
  return {filters.begin(), filters.end()};
}

}  // namespace driftline
