// One JSON value to one field: the value, or a fault that says where, why and what would be right.
#pragma once

#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "gateway/telemetry/fault.h"
#include "rules/records/time.h"

namespace simdjson::dom {
class element;
}

namespace driftline::json_values {

// Tokens that are no JSON but that controllers do send (NaN, numbers beyond 64 bits) are turned into strings that start
// with this byte before a second attempt at parsing (loose_tokens.h), so that one of them spoils its field only.
inline constexpr char loose_mark = '\x7f';

// Where in the payload values are being read, and where their faults go.
struct Place {
  std::vector<Fault>& faults;
  bool loose = false;                // the payload went through loose_tokens
  std::optional<std::size_t> index;  // of the sample in its batch

  [[nodiscard]] std::string pointer(std::string_view field) const;  // "/1/time"; an empty field names the sample
  void fault(FaultCode code, std::string_view field, std::string why, std::string_view remedy) const;
};

struct Range {
  double min = std::numeric_limits<double>::lowest();
  double max = std::numeric_limits<double>::max();
  bool above_zero = false;
  [[nodiscard]] bool holds(double value) const { return value >= min && value <= max && (!above_zero || value > 0); }
};

struct Field {
  std::string_view name;
  std::string_view remedy;
};

// "\"12,4\" is text", "null", "a list": cut and escaped.
[[nodiscard]] std::string describe(const simdjson::dom::element& value, bool loose);

// null is an absent field and no fault. An integer may be written as 3.0.
[[nodiscard]] std::optional<double> number(const simdjson::dom::element&, const Field&, const Range&, const Place&);
[[nodiscard]] std::optional<std::int64_t> integer(const simdjson::dom::element&, const Field&, std::int64_t min,
                                                  std::int64_t max, const Place&);
[[nodiscard]] std::optional<bool> boolean(const simdjson::dom::element&, const Field&, const Place&);
[[nodiscard]] std::optional<std::string_view> text(const simdjson::dom::element&, const Field&, const Place&);

// RFC 3339 text or integer milliseconds, not before 2000 and not far from `received`. null is a missing field.
[[nodiscard]] std::optional<Time> time(const simdjson::dom::element&, Time received, const Place&);

// Also used by decoders that read their time from elsewhere.
[[nodiscard]] bool plausible(Time time, Time received);

}  // namespace driftline::json_values
