// What is done with a part that cannot be used:
//   the payload as a whole (not JSON, too deep, ...)        one fault, nothing is used
//   a sample's time                                         one fault, that sample is not used, its other faults are dropped
//   a sample's other field                                  one fault, that field counts as absent
//   an element of pressure_bar                              one fault for the first of them, each counts as null
//   a sample in which nothing is left but time and seq      not used; a fault if none was said yet
//   a setting                                               one fault, it counts as not announced
//   the state of presence, the kind of a service note       one fault, the message is not used
//   their time                                              one fault, `received` is used instead: what happened matters more
//   a note's line                                           one fault, the note is taken to be about the whole station
//   a field that stands twice                               one fault, the first is used
// null is an absent field; only for `time`, `state` and `kind` that is a fault. Fields that are not ours are not looked at.
#include <simdjson.h>

#include <limits>

#include "gateway/telemetry/decode.h"
#include "gateway/telemetry/json_payload.h"
#include "gateway/telemetry/json_text.h"
#include "gateway/telemetry/json_values.h"
#include "gateway/telemetry/limits.h"
#include "gateway/telemetry/quick_samples.h"
#include "rules/records/names.h"

namespace driftline {
namespace {

namespace limits = telemetry_limits;
namespace values = json_values;
using json_values::Field;
using json_values::Place;
using json_values::Range;
using simdjson::dom::array;
using simdjson::dom::element;
using simdjson::dom::element_type;
using simdjson::dom::object;

constexpr Field time_field{"time", "when it was measured: RFC 3339 text with offset, or integer milliseconds since 1970"};
constexpr Field seq_field{"seq", "a whole number from 0, one more with each sample: 17"};
constexpr Field pump_field{"pump", "true or false"};
constexpr Field line_field{"line", "a whole number from 1 to 8: 1"};
constexpr Field pressure_field{"pressure_bar", "a list of numbers or null, bar gauge, line 1 first: [12.4, 0.3]"};
constexpr Field element_field{"pressure_bar", "a number, bar gauge: 12.4; null where a sensor gave nothing"};
constexpr Field level_field{"level_pct", "a number from 0 (empty) to 100 (full): 62.5"};
constexpr Field level_low_field{"level_low", "true or false"};
constexpr Field temp_field{"temp_c", "a number, degrees Celsius: 12.5"};

constexpr Field cycle_field{"cycle_s", "a number above 0, seconds: 2880"};
constexpr Field pump_limit_field{"pump_limit_s", "a number above 0, seconds: 300"};
constexpr Field target_field{"target_bar", "a number above 0, bar gauge: 180"};
constexpr Field residual_field{"residual_bar", "a number above 0 and under the target, bar gauge: 20"};
constexpr Field lines_field{"lines", "a whole number from 1 to 8: 2"};

constexpr Field state_field{"state", "\"online\" or \"offline\""};
constexpr Field kind_field{"kind",
                           "\"refilled\", \"repaired\", \"purged\", \"settings-changed\", \"out-of-service\" or \"back-in-service\""};
constexpr Field note_field{"note", "text"};
constexpr Field by_field{"by", "a name: \"A. Fitter\""};

// Which fields of an object have been met, so that one that stands twice is noticed. RFC 8259, section 4, leaves open what
// that means: we use the first and say so.
class Seen {
 public:
  [[nodiscard]] bool first(unsigned bit, std::string_view field, const Place& place) {
    const unsigned mask = 1U << bit;
    if ((bits_ & mask) != 0) {
      place.fault(FaultCode::duplicate_field, field, "the field stands twice; the first was used", "each field once");
      return false;
    }
    bits_ |= mask;
    return true;
  }

 private:
  unsigned bits_ = 0;
};

void read_pressures(const element& value, const Place& place, Pressures& out) {
  if (value.is_null()) return;
  if (value.type() != element_type::ARRAY) {
    place.fault(FaultCode::wrong_type, pressure_field.name, values::describe(value, place.loose), pressure_field.remedy);
    return;
  }
  constexpr Range range{limits::pressure_bar_min, limits::pressure_bar_max};
  const std::size_t faults_before = place.faults.size();
  std::size_t index = 0;
  const array items = value.get_array().value_unsafe();
  for (const element item : items) {
    if (out.lines == lines_max) {
      place.fault(FaultCode::out_of_range, pressure_field.name, "more than 8 pressures; the first 8 were used", pressure_field.remedy);
      break;
    }
    const bool silent = place.faults.size() > faults_before;
    out.append(values::number(item, element_field, range, place));
    if (silent) place.faults.resize(faults_before + 1);
    else if (place.faults.size() > faults_before) append_pointer(place.faults.back().where, index);
    ++index;
  }
}

bool has_content(const Sample& sample) {
  return sample.pump || sample.line || sample.pressure.lines > 0 || sample.level_pct || sample.level_low || sample.temp_c;
}

// False for a sample that cannot be used; its fault has been said.
bool read_sample(const element& value, const Place& place, Time received, Sample& out) {
  if (value.type() != element_type::OBJECT) {
    place.fault(FaultCode::wrong_type, {}, values::describe(value, place.loose),
                "a sample object: {\"time\":\"2026-03-01T06:00:00Z\",\"pump\":true,\"line\":1,\"pressure_bar\":[12.4,0.3]}");
    return false;
  }
  const std::size_t faults_before = place.faults.size();
  bool time_met = false;
  std::optional<Time> time;
  std::optional<Fault> time_fault;
  Seen seen;
  const object fields = value.get_object().value_unsafe();
  for (const auto [key, field] : fields) {
    switch (key.size()) {
      case 3:
        if (key == "seq" && seen.first(0, key, place)) {
          if (const auto seq = values::integer(field, seq_field, 0, std::numeric_limits<std::int64_t>::max(), place))
            out.seq = static_cast<std::uint64_t>(*seq);
        }
        break;
      case 4:
        if (key == "time" && seen.first(1, key, place)) {
          time_met = true;
          time = values::time(field, received, place);
          if (!time) time_fault = place.faults.back();
        } else if (key == "pump" && seen.first(2, key, place)) {
          out.pump = values::boolean(field, pump_field, place);
        } else if (key == "line" && seen.first(3, key, place)) {
          if (const auto line = values::integer(field, line_field, 1, lines_max, place)) out.line = static_cast<int>(*line);
        }
        break;
      case 6:
        if (key == "temp_c" && seen.first(4, key, place))
          out.temp_c = values::number(field, temp_field, {limits::temp_c_min, limits::temp_c_max}, place);
        break;
      case 9:
        if (key == "level_pct" && seen.first(5, key, place))
          out.level_pct = values::number(field, level_field, {limits::level_pct_min, limits::level_pct_max}, place);
        else if (key == "level_low" && seen.first(6, key, place))
          out.level_low = values::boolean(field, level_low_field, place);
        break;
      case 12:
        if (key == "pressure_bar" && seen.first(7, key, place)) read_pressures(field, place, out.pressure);
        break;
      default: break;
    }
  }
  if (!time) {
    place.faults.resize(faults_before);
    if (time_met) place.faults.push_back(std::move(*time_fault));
    else place.fault(FaultCode::missing_field, time_field.name, "no time", time_field.remedy);
    return false;
  }
  out.time = *time;
  if (has_content(out)) return true;
  if (place.faults.size() == faults_before)
    place.fault(FaultCode::missing_field, pressure_field.name, "the sample says nothing but its time", pressure_field.remedy);
  return false;
}

void decode_telemetry(const element& root, bool loose, Time received, Decoded& out) {
  if (root.type() != element_type::ARRAY) {
    Sample sample;
    if (read_sample(root, Place{out.faults, loose, std::nullopt}, received, sample)) out.samples.push_back(sample);
    else ++out.samples_refused;
    return;
  }
  std::size_t index = 0;
  const array items = root.get_array().value_unsafe();
  for (const element item : items) {
    const Place place{out.faults, loose, index};
    if (index == limits::samples_per_message_max) {
      place.fault(FaultCode::batch_too_long, {}, "the batch is too long; what stands from here on was not used",
                  "at most " + std::to_string(limits::samples_per_message_max) + " samples a message");
      out.samples_refused += items.size() - index;
      return;
    }
    Sample sample;
    if (read_sample(item, place, received, sample)) out.samples.push_back(sample);
    else ++out.samples_refused;
    ++index;
  }
}

// The object that settings, presence and service notes are.
std::optional<object> as_object(const element& root, const Place& place, std::string_view remedy) {
  if (root.type() == element_type::OBJECT) return root.get_object().value_unsafe();
  place.fault(FaultCode::wrong_type, {}, values::describe(root, place.loose), remedy);
  return std::nullopt;
}

void decode_settings(const element& root, bool loose, Decoded& out) {
  const Place place{out.faults, loose, std::nullopt};
  const auto fields = as_object(root, place, "an object of settings: {\"cycle_s\":2880,\"target_bar\":180}");
  if (!fields) return;
  ControllerSettings settings;
  Seen seen;
  const auto above_zero = [](double max) { return Range{0, max, true}; };
  for (const auto [key, field] : *fields) {
    if (key == cycle_field.name && seen.first(0, key, place))
      settings.cycle_s = values::number(field, cycle_field, above_zero(limits::cycle_s_max), place);
    else if (key == pump_limit_field.name && seen.first(1, key, place))
      settings.pump_limit_s = values::number(field, pump_limit_field, above_zero(limits::pump_limit_s_max), place);
    else if (key == target_field.name && seen.first(2, key, place))
      settings.target_bar = values::number(field, target_field, above_zero(limits::target_bar_max), place);
    else if (key == residual_field.name && seen.first(3, key, place))
      settings.residual_bar = values::number(field, residual_field, above_zero(limits::residual_bar_max), place);
    else if (key == lines_field.name && seen.first(4, key, place)) {
      if (const auto lines = values::integer(field, lines_field, 1, lines_max, place)) settings.lines = static_cast<int>(*lines);
    }
  }
  if (settings.residual_bar && settings.target_bar && *settings.residual_bar >= *settings.target_bar) {
    place.fault(FaultCode::out_of_range, residual_field.name, "the residual limit is not under the target", residual_field.remedy);
    settings.residual_bar.reset();
  }
  // Nothing but faults: the controller has announced nothing that would replace what is known.
  if (settings == ControllerSettings{} && !out.faults.empty()) return;
  out.settings = settings;
}

void decode_presence(const element& root, bool loose, Time received, Decoded& out) {
  const Place place{out.faults, loose, std::nullopt};
  const auto fields = as_object(root, place, "{\"state\":\"online\"}");
  if (!fields) return;
  PresenceChange presence{received, true};
  bool state_met = false;
  bool state_known = false;
  Seen seen;
  for (const auto [key, field] : *fields) {
    if (key == "state" && seen.first(0, key, place)) {
      if (field.is_null()) continue;
      state_met = true;
      const auto state = values::text(field, state_field, place);
      if (!state) continue;
      state_known = *state == "online" || *state == "offline";
      presence.online = *state == "online";
      if (!state_known)
        place.fault(FaultCode::out_of_range, key, in_quotes(*state) + " is no state of presence", state_field.remedy);
    } else if (key == "time" && seen.first(1, key, place)) {
      if (field.is_null()) continue;
      if (const auto time = values::time(field, received, place)) presence.time = *time;
    }
  }
  if (!state_met) place.fault(FaultCode::missing_field, state_field.name, "no state", state_field.remedy);
  if (state_known) out.presence = presence;
}

std::string cut_text(std::string_view text, const Field& field, std::size_t bytes_max, const Place& place) {
  if (text.size() <= bytes_max) return std::string(text);
  place.fault(FaultCode::out_of_range, field.name, std::to_string(text.size()) + " bytes of text; their start was used",
              "at most " + std::to_string(bytes_max) + " bytes");
  std::size_t end = bytes_max;
  while (end > 0 && (static_cast<unsigned char>(text[end]) & 0xC0U) == 0x80) --end;
  return std::string(text.substr(0, end));
}

void decode_service(const element& root, bool loose, Time received, Decoded& out) {
  const Place place{out.faults, loose, std::nullopt};
  const auto fields = as_object(root, place, "{\"time\":\"2026-03-01T06:00:00Z\",\"kind\":\"refilled\"}");
  if (!fields) return;
  ServiceNote note;
  note.time = received;
  bool time_met = false;
  bool kind_met = false;
  bool kind_known = false;
  Seen seen;
  for (const auto [key, field] : *fields) {
    if (key == "time" && seen.first(0, key, place)) {
      time_met = true;
      if (const auto time = values::time(field, received, place)) note.time = *time;
    } else if (key == "kind" && seen.first(1, key, place)) {
      if (field.is_null()) continue;
      kind_met = true;
      const auto word = values::text(field, kind_field, place);
      if (!word) continue;
      const auto kind = service_kind_named(*word);
      kind_known = kind.has_value();
      if (kind) note.kind = *kind;
      else place.fault(FaultCode::out_of_range, key, in_quotes(*word) + " is no kind of service", kind_field.remedy);
    } else if (key == "line" && seen.first(2, key, place)) {
      if (const auto line = values::integer(field, line_field, 1, lines_max, place)) note.line = static_cast<int>(*line);
    } else if (key == "note" && seen.first(3, key, place)) {
      if (const auto text = values::text(field, note_field, place)) note.note = cut_text(*text, note_field, limits::note_bytes_max, place);
    } else if (key == "by" && seen.first(4, key, place)) {
      if (field.is_null()) continue;
      if (const auto name = values::text(field, by_field, place)) note.by = cut_text(*name, by_field, limits::by_bytes_max, place);
    }
  }
  if (!kind_met) place.fault(FaultCode::missing_field, kind_field.name, "no kind", kind_field.remedy);
  if (!time_met && kind_known)
    place.fault(FaultCode::missing_field, time_field.name, "no time; the time of arrival was used", time_field.remedy);
  if (kind_known) out.note = std::move(note);
}

}  // namespace

struct NativeDecoder::Buffers {
  JsonPayload json;
};

NativeDecoder::NativeDecoder() : buffers_(std::make_unique<Buffers>()) {}
NativeDecoder::~NativeDecoder() = default;
NativeDecoder::NativeDecoder(NativeDecoder&&) noexcept = default;
NativeDecoder& NativeDecoder::operator=(NativeDecoder&&) noexcept = default;

void NativeDecoder::decode(TopicKind kind, std::string_view payload, Time received, Decoded& out) {
  out.clear();
  if (kind == TopicKind::telemetry && quick_samples(payload, received, out.samples)) return;
  decode_any(kind, payload, received, out);
}

void NativeDecoder::decode_any(TopicKind kind, std::string_view payload, Time received, Decoded& out) {
  out.clear();
  element root;
  if (!buffers_->json.parse(payload, root, out.faults)) {
    if (kind == TopicKind::telemetry) out.samples_refused = 1;
    return;
  }
  const bool loose = buffers_->json.loose();
  switch (kind) {
    case TopicKind::telemetry: decode_telemetry(root, loose, received, out); break;
    case TopicKind::settings: decode_settings(root, loose, out); break;
    case TopicKind::presence: decode_presence(root, loose, received, out); break;
    case TopicKind::service: decode_service(root, loose, received, out); break;
  }
  buffers_->json.finish(payload, out.faults);
}

}  // namespace driftline
