#include "gateway/journal/record.h"

#include <zlib.h>

#include <bit>
#include <cstring>

#include "gateway/journal/limits.h"

namespace driftline::journal {
namespace {

static_assert(std::endian::native == std::endian::little);  // numbers are copied as they stand

constexpr std::string_view head_name = "driftjrn";
constexpr std::uint32_t head_version = 1;
constexpr std::string_view mark = "\xD7rec";
constexpr std::size_t body_bytes_max = record_body_bytes_min + topic_bytes_max + payload_bytes_max;

std::uint32_t check_of(std::string_view bytes) {
  return static_cast<std::uint32_t>(
      crc32_z(0, reinterpret_cast<const Bytef*>(bytes.data()), bytes.size()));  // NOLINT: zlib's type
}

template <typename Number>
void put(char* at, Number value) {
  std::memcpy(at, &value, sizeof value);
}

template <typename Number>
Number get(std::string_view bytes, std::size_t at) {
  Number value{};
  std::memcpy(&value, bytes.data() + at, sizeof value);
  return value;
}

}  // namespace

std::string write_head(const SegmentHead& head) {
  std::string out(segment_head_bytes, '\0');
  out.replace(0, head_name.size(), head_name);
  put(out.data() + 8, head_version);
  put(out.data() + 16, head.first);
  put(out.data() + 24, head.follows);
  put(out.data() + 32, ms_since_1970(head.floor));
  put(out.data() + 12, check_of(std::string_view{out}.substr(16)));
  return out;
}

std::optional<SegmentHead> read_head(std::string_view bytes) {
  if (bytes.size() < segment_head_bytes || !bytes.starts_with(head_name)) return std::nullopt;
  bytes = bytes.substr(0, segment_head_bytes);
  if (get<std::uint32_t>(bytes, 8) != head_version) return std::nullopt;
  if (get<std::uint32_t>(bytes, 12) != check_of(bytes.substr(16))) return std::nullopt;
  return SegmentHead{get<Position>(bytes, 16), get<Position>(bytes, 24), time_from_ms(get<std::int64_t>(bytes, 32))};
}

void write_record(const RecordView& record, std::string& out) {
  const std::size_t body = record_body_bytes_min + record.topic.size() + record.payload.size();
  out.resize(record_head_bytes + body);
  char* at = out.data();
  std::memcpy(at, mark.data(), mark.size());
  put(at + 8, static_cast<std::uint32_t>(body));
  put(at + 12, record.position);
  put(at + 20, ms_since_1970(record.received));
  put(at + 28, static_cast<std::uint16_t>(record.topic.size()));
  if (!record.topic.empty()) std::memcpy(at + 30, record.topic.data(), record.topic.size());
  if (!record.payload.empty()) std::memcpy(at + 30 + record.topic.size(), record.payload.data(), record.payload.size());
  put(at + 4, check_of(std::string_view{out}.substr(8)));
}

Parsed parse_record(std::string_view bytes) {
  if (!bytes.starts_with(mark.substr(0, bytes.size()))) return {};
  if (bytes.size() < record_head_bytes) return {Parse::more, {}, record_head_bytes};
  const std::size_t body = get<std::uint32_t>(bytes, 8);
  if (body < record_body_bytes_min || body > body_bytes_max) return {};
  const std::size_t whole = record_head_bytes + body;
  if (bytes.size() < whole) return {Parse::more, {}, whole};
  bytes = bytes.substr(0, whole);
  if (get<std::uint32_t>(bytes, 4) != check_of(bytes.substr(8))) return {};
  const std::size_t topic = get<std::uint16_t>(bytes, 28);
  if (record_bytes_min + topic > whole) return {};
  return {Parse::record,
          {get<Position>(bytes, 12), time_from_ms(get<std::int64_t>(bytes, 20)), bytes.substr(30, topic),
           bytes.substr(30 + topic)},
          whole};
}

std::size_t find_mark(std::string_view bytes, std::size_t from) {
  while (from < bytes.size()) {
    const std::size_t at = bytes.find(mark.front(), from);
    if (at == std::string_view::npos) return at;
    const std::string_view rest = bytes.substr(at, mark.size());
    if (rest == mark.substr(0, rest.size())) return at;
    from = at + 1;
  }
  return std::string_view::npos;
}

}  // namespace driftline::journal
