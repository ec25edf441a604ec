#include "gateway/telemetry/sparkplug_wire.h"

#include <bit>
#include <cmath>

#include "gateway/telemetry/limits.h"

namespace driftline::sparkplug {
namespace {

// Protocol buffers' encoding: a key (field number, wire type) and what the wire type says.
enum class Wire : std::uint8_t { varint = 0, fixed64 = 1, bytes = 2, fixed32 = 5 };

struct Field {
  std::uint64_t number = 0;
  Wire wire = Wire::varint;
  std::uint64_t value = 0;  // varint and fixed
  std::string_view bytes;
};

class Reader {
 public:
  explicit Reader(std::string_view bytes) : rest_(bytes) {}

  [[nodiscard]] bool done() const { return rest_.empty(); }
  [[nodiscard]] Trouble next(Field& field) {
    std::uint64_t key = 0;
    if (const Trouble trouble = varint(key); trouble != Trouble::none) return trouble;
    field.number = key >> 3U;
    if (field.number == 0) return Trouble::broken;
    switch (key & 7U) {
      case 0: field.wire = Wire::varint; return varint(field.value);
      case 1: field.wire = Wire::fixed64; return fixed(8, field.value);
      case 2: field.wire = Wire::bytes; return bytes(field.bytes);
      case 5: field.wire = Wire::fixed32; return fixed(4, field.value);
      default: return Trouble::broken;  // groups, which proto2 has given up
    }
  }

 private:
  Trouble varint(std::uint64_t& out) {
    out = 0;
    for (unsigned shift = 0; shift < 70; shift += 7) {
      if (rest_.empty()) return Trouble::cut_off;
      const auto byte = static_cast<unsigned char>(rest_.front());
      rest_.remove_prefix(1);
      if (shift == 63 && byte > 1) return Trouble::broken;
      out |= static_cast<std::uint64_t>(byte & 0x7FU) << shift;
      if (byte < 0x80) return Trouble::none;
    }
    return Trouble::broken;
  }
  Trouble fixed(std::size_t length, std::uint64_t& out) {
    if (rest_.size() < length) return Trouble::cut_off;
    out = 0;
    for (std::size_t i = length; i-- > 0;) out = out << 8U | static_cast<unsigned char>(rest_[i]);
    rest_.remove_prefix(length);
    return Trouble::none;
  }
  Trouble bytes(std::string_view& out) {
    std::uint64_t length = 0;
    if (const Trouble trouble = varint(length); trouble != Trouble::none) return trouble;
    if (length > rest_.size()) return Trouble::cut_off;
    out = rest_.substr(0, length);
    rest_.remove_prefix(length);
    return Trouble::none;
  }

  std::string_view rest_;
};

// False for a known field that travels in another form than its own.
bool take_metric_field(const Field& field, Metric& out) {
  const auto is = [&](Wire wire) { return field.wire == wire; };
  switch (field.number) {
    case 1: out.name = field.bytes; return is(Wire::bytes);
    case 2: out.alias = field.value; return is(Wire::varint);
    case 3: out.timestamp_ms = field.value; return is(Wire::varint);
    case 4: out.datatype = static_cast<std::uint32_t>(field.value); return is(Wire::varint);
    case 5: out.is_historical = field.value != 0; return is(Wire::varint);
    case 7: out.is_null = field.value != 0; return is(Wire::varint);
    case 10:
    case 11: out.value = field.value; return is(Wire::varint);
    case 12: out.value = static_cast<double>(std::bit_cast<float>(static_cast<std::uint32_t>(field.value))); return is(Wire::fixed32);
    case 13: out.value = std::bit_cast<double>(field.value); return is(Wire::fixed64);
    case 14: out.value = field.value != 0; return is(Wire::varint);
    case 15: out.value = field.bytes; return is(Wire::bytes);
    case 16:
    case 17:
    case 18:
    case 19: out.value = std::monostate{}; return true;  // bytes, data sets, templates: nothing that we can use
    default: return true;
  }
}

Trouble read_metric(std::string_view bytes, Metric& out) {
  Reader reader(bytes);
  Field field;
  while (!reader.done()) {
    if (const Trouble trouble = reader.next(field); trouble != Trouble::none) return trouble;
    if (!take_metric_field(field, out)) return Trouble::broken;
  }
  return Trouble::none;
}

void append_varint(std::string& out, std::uint64_t value) {
  for (; value >= 0x80; value >>= 7U) out += static_cast<char>((value & 0x7FU) | 0x80U);
  out += static_cast<char>(value);
}
void append_number(std::string& out, std::uint64_t field, std::uint64_t value) {
  append_varint(out, field << 3U);
  append_varint(out, value);
}
void append_bytes(std::string& out, std::uint64_t field, std::string_view bytes) {
  append_varint(out, field << 3U | 2U);
  append_varint(out, bytes.size());
  out += bytes;
}

}  // namespace

Trouble read(std::string_view bytes, Payload& out) {
  out.timestamp_ms.reset();
  out.seq.reset();
  out.metrics.clear();
  Reader reader(bytes);
  Field field;
  while (!reader.done()) {
    if (const Trouble trouble = reader.next(field); trouble != Trouble::none) return trouble;
    if (field.number == 2) {
      if (field.wire != Wire::bytes) return Trouble::broken;
      if (out.metrics.size() == telemetry_limits::metrics_per_message_max) return Trouble::too_many;
      if (const Trouble trouble = read_metric(field.bytes, out.metrics.emplace_back()); trouble != Trouble::none) return trouble;
    } else if (field.number == 1 || field.number == 3) {
      if (field.wire != Wire::varint) return Trouble::broken;
      (field.number == 1 ? out.timestamp_ms : out.seq) = field.value;
    }
  }
  return Trouble::none;
}

std::optional<double> number_of(const Value& value, std::uint32_t datatype) {
  if (const auto* number = std::get_if<double>(&value)) return std::isfinite(*number) ? std::optional(*number) : std::nullopt;
  const auto* whole = std::get_if<std::uint64_t>(&value);
  if (whole == nullptr) return std::nullopt;
  switch (static_cast<DataType>(datatype)) {
    case DataType::int8: return static_cast<double>(static_cast<std::int8_t>(*whole));
    case DataType::int16: return static_cast<double>(static_cast<std::int16_t>(*whole));
    case DataType::int32: return static_cast<double>(static_cast<std::int32_t>(*whole));
    case DataType::int64: return static_cast<double>(static_cast<std::int64_t>(*whole));
    case DataType::unknown:
    case DataType::uint8:
    case DataType::uint16:
    case DataType::uint32:
    case DataType::uint64:
    case DataType::date_time:
    case DataType::single_float:
    case DataType::double_float:
    case DataType::boolean:
    case DataType::string:
    case DataType::text: break;
  }
  return static_cast<double>(*whole);
}

std::string rebirth_request(Time now) {
  const auto now_ms = static_cast<std::uint64_t>(ms_since_1970(now));
  std::string metric;
  append_bytes(metric, 1, "Node Control/Rebirth");
  append_number(metric, 3, now_ms);
  append_number(metric, 4, static_cast<std::uint64_t>(DataType::boolean));
  append_number(metric, 14, 1);
  std::string payload;
  append_number(payload, 1, now_ms);
  append_bytes(payload, 2, metric);
  return payload;
}

}  // namespace driftline::sparkplug
