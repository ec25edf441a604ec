// Sparkplug B payloads as they travel: protocol buffers (proto2) by field number, read by hand because we need nine fields of
// them and no generated code.
//
//   Payload: timestamp 1, metrics 2 (repeated), seq 3            Metric: name 1, alias 2, timestamp 3, datatype 4,
//   is_historical 5, is_null 7, int_value 10, long_value 11, float_value 12, double_value 13, boolean_value 14, string_value 15
//
// Field numbers: Eclipse Sparkplug Specification 3.0.0, chapter 6. Unknown fields are passed over; the last of a field that
// stands twice counts, as protocol buffers want it. Checked against bytes of another encoder in
// tests/reference/sparkplug_test.cpp.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "rules/records/time.h"

namespace driftline::sparkplug {

// Numbers of the specification's data types that we can use.
enum class DataType : std::uint32_t {
  unknown = 0,
  int8 = 1,
  int16 = 2,
  int32 = 3,
  int64 = 4,
  uint8 = 5,
  uint16 = 6,
  uint32 = 7,
  uint64 = 8,
  single_float = 9,
  double_float = 10,
  boolean = 11,
  string = 12,
  date_time = 13,
  text = 14,
};

using Value = std::variant<std::monostate, std::uint64_t, double, bool, std::string_view>;

struct Metric {
  std::string_view name;  // empty: only an alias
  std::optional<std::uint64_t> alias;
  std::optional<std::uint64_t> timestamp_ms;
  std::uint32_t datatype = 0;  // absent in data messages: that of the birth holds
  bool is_historical = false;
  bool is_null = false;
  Value value;  // integers as they travel: unsigned, two's complement
};

struct Payload {
  std::optional<std::uint64_t> timestamp_ms;
  std::optional<std::uint64_t> seq;
  std::vector<Metric> metrics;  // views into the bytes that were read
};

enum class Trouble : std::uint8_t { none, cut_off, broken, too_many };

// `out` is cleared and filled. Bounded by the payload and metrics_per_message_max; never reads past `bytes`.
[[nodiscard]] Trouble read(std::string_view bytes, Payload& out);

// The value as a number, by the data type's rules of sign; empty for text and for what is absent.
[[nodiscard]] std::optional<double> number_of(const Value& value, std::uint32_t datatype);

// Payload of the NCMD that asks an edge node for its births ("Node Control/Rebirth" = true).
[[nodiscard]] std::string rebirth_request(Time now);

}  // namespace driftline::sparkplug
