// Bad input is an answer: what was wrong, where, why, and what would be right.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

namespace driftline {

// Closed list: a metric tag, a column of faults.ndjson, a word on the page. Never renumber; append.
enum class FaultCode : std::uint8_t {
  bad_topic,          // not <root>/<site>/<station>/<kind>
  unknown_kind,       // the topic's last level is none of ours
  unknown_station,    // not configured, and unknown stations are not watched
  too_large,          // payload over the size bound
  too_deep,           // JSON nested deeper than the bound
  batch_too_long,     // more samples in one message than the bound
  not_json,           // not UTF-8 JSON
  wrong_type,         // a value of another JSON type than the contract's
  missing_field,      // a required field is absent or null
  time_unreadable,    // neither RFC 3339 nor integer milliseconds
  time_implausible,   // a clock that is not set: years from when the message was received
  out_of_range,       // a number outside what the contract allows
  too_late,           // behind every window in which it could still be used
  too_many_stations,  // the bound on stations is met
  unreadable_record,  // a line of a recording that is not a recorded message
  duplicate_field,    // a field stands twice in one object; the first is used
  not_sparkplug,      // not a Sparkplug B payload
  birth_missing,      // Sparkplug B data whose birth was not seen, or with messages missing before it
};
inline constexpr std::size_t fault_code_count = 18;

[[nodiscard]] std::string_view name_of(FaultCode code);  // "bad-topic", ...

struct Fault {
  FaultCode code = FaultCode::not_json;
  std::string where;   // JSON Pointer into the payload; empty: the whole of it
  std::string why;     // "\"12,4\" is text"
  std::string remedy;  // "a number, bar gauge: 12.4"
  bool operator==(const Fault&) const = default;
};

}  // namespace driftline
