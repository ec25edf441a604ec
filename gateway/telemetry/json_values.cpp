#include "gateway/telemetry/json_values.h"

#include <simdjson.h>

#include <cmath>

#include "gateway/telemetry/json_text.h"
#include "gateway/telemetry/limits.h"
#include "rules/records/time_text.h"

namespace driftline::json_values {
namespace {

using simdjson::dom::element;
using simdjson::dom::element_type;

bool is_loose(const element& value, const Place& place) {
  if (!place.loose || value.type() != element_type::STRING) return false;
  const std::string_view token = value.get_string().value_unsafe();
  return !token.empty() && token.front() == loose_mark;
}

// Of the tokens that loosen_tokens marks: a number that is too big, not one that is none.
bool is_number_text(std::string_view token) {
  return token.find_first_not_of("0123456789+-.eE") == std::string_view::npos;
}

void wrong_type(const element& value, const Field& field, const Place& place) {
  const bool too_big = is_loose(value, place) && is_number_text(value.get_string().value_unsafe().substr(1));
  place.fault(too_big ? FaultCode::out_of_range : FaultCode::wrong_type, field.name, describe(value, place.loose),
              field.remedy);
}

std::string number_text(const element& value) { return cut_short(simdjson::to_string(value)); }

void out_of_range(const element& value, const Field& field, const Place& place) {
  place.fault(FaultCode::out_of_range, field.name, number_text(value) + " is out of range", field.remedy);
}

std::optional<double> as_double(const element& value) {
  switch (value.type()) {
    case element_type::DOUBLE: return value.get_double().value_unsafe();
    case element_type::INT64: return static_cast<double>(value.get_int64().value_unsafe());
    case element_type::UINT64: return static_cast<double>(value.get_uint64().value_unsafe());
    default: return std::nullopt;
  }
}

// A number that is whole and fits; the sign of what does not fit is lost, which out_of_range does not need.
std::optional<std::int64_t> as_whole(const element& value) {
  if (value.type() == element_type::INT64) return value.get_int64().value_unsafe();
  if (value.type() != element_type::DOUBLE) return std::nullopt;
  const double number = value.get_double().value_unsafe();
  if (std::trunc(number) != number || std::abs(number) > 9e15) return std::nullopt;
  return static_cast<std::int64_t>(number);
}

constexpr std::string_view time_remedy =
    "RFC 3339 text with offset, \"2026-03-01T06:00:00.310Z\", or integer milliseconds since 1970";

std::optional<Time> checked(Time time, const element& value, Time received, const Place& place) {
  if (plausible(time, received)) return time;
  const bool is_text = value.type() == element_type::STRING;
  std::string why = is_text ? in_quotes(value.get_string().value_unsafe()) : number_text(value);
  const std::int64_t ms = ms_since_1970(time);
  if (!is_text && ms > 0 && plausible(time_from_ms(ms * (ms < 100'000'000'000 ? 1000 : 1)), received))
    why += ": seconds, where milliseconds are due";
  else
    why += ": far from when the message was received; is the controller's clock set?";
  place.fault(FaultCode::time_implausible, "time", std::move(why), time_remedy);
  return std::nullopt;
}

}  // namespace

std::string Place::pointer(std::string_view field) const {
  std::string out;
  if (index) append_pointer(out, *index);
  if (!field.empty()) out.append("/").append(field);
  return out;
}

void Place::fault(FaultCode code, std::string_view field, std::string why, std::string_view remedy) const {
  faults.push_back({code, pointer(field), std::move(why), std::string(remedy)});
}

std::string describe(const element& value, bool loose) {
  switch (value.type()) {
    case element_type::STRING: {
      const std::string_view text = value.get_string().value_unsafe();
      if (loose && !text.empty() && text.front() == loose_mark) return cut_short(text.substr(1)) + " is no JSON number";
      return in_quotes(text) + " is text";
    }
    case element_type::ARRAY: return "a list stands here";
    case element_type::OBJECT: return "an object stands here";
    case element_type::BOOL: return value.get_bool().value_unsafe() ? "true is no number or text" : "false is no number or text";
    case element_type::NULL_VALUE: return "null stands here";
    default: return number_text(value) + " is a number";
  }
}

std::optional<double> number(const element& value, const Field& field, const Range& range, const Place& place) {
  const auto read = as_double(value);
  if (read && range.holds(*read)) return read;
  if (read) out_of_range(value, field, place);
  else if (!value.is_null()) wrong_type(value, field, place);
  return std::nullopt;
}

std::optional<std::int64_t> integer(const element& value, const Field& field, std::int64_t min, std::int64_t max,
                                    const Place& place) {
  const auto read = as_whole(value);
  if (read && *read >= min && *read <= max) return read;
  if (value.is_null()) return std::nullopt;
  if (read || value.type() == element_type::UINT64) out_of_range(value, field, place);
  else if (value.type() == element_type::DOUBLE)
    place.fault(FaultCode::wrong_type, field.name, number_text(value) + " is not a whole number", field.remedy);
  else wrong_type(value, field, place);
  return std::nullopt;
}

std::optional<bool> boolean(const element& value, const Field& field, const Place& place) {
  if (value.type() == element_type::BOOL) return value.get_bool().value_unsafe();
  if (!value.is_null()) wrong_type(value, field, place);
  return std::nullopt;
}

std::optional<std::string_view> text(const element& value, const Field& field, const Place& place) {
  if (value.type() == element_type::STRING && !is_loose(value, place)) return value.get_string().value_unsafe();
  if (!value.is_null()) wrong_type(value, field, place);
  return std::nullopt;
}

std::optional<Time> time(const element& value, Time received, const Place& place) {
  if (value.type() == element_type::STRING) {
    if (const auto read = parse_rfc3339(value.get_string().value_unsafe())) return checked(*read, value, received, place);
    place.fault(FaultCode::time_unreadable, "time", describe(value, place.loose) + " but no time with offset", time_remedy);
    return std::nullopt;
  }
  if (const auto ms = as_whole(value)) return checked(time_from_ms(*ms), value, received, place);
  if (value.is_null()) place.fault(FaultCode::missing_field, "time", "null stands here", time_remedy);
  else place.fault(FaultCode::time_unreadable, "time", describe(value, place.loose), time_remedy);
  return std::nullopt;
}

bool plausible(Time time, Time received) {
  constexpr auto allowed_ms = static_cast<std::int64_t>(telemetry_limits::days_from_received_max * 86'400'000);
  const std::int64_t ms = ms_since_1970(time);
  // Compared without subtracting `ms`, which may be anything 64 bits hold.
  return ms >= telemetry_limits::time_ms_min && ms >= ms_since_1970(received) - allowed_ms &&
         ms <= ms_since_1970(received) + allowed_ms;
}

}  // namespace driftline::json_values
