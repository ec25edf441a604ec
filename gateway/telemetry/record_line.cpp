#include <array>
#include <cstring>

#include "gateway/telemetry/base64.h"
#include "gateway/telemetry/json_text.h"
#include "gateway/telemetry/not_json.h"
#include "gateway/telemetry/recording.h"
#include "rules/records/time_text.h"

namespace driftline {
namespace {

constexpr std::string_view remedy =
    "{\"received\":\"2026-03-01T06:00:00.310Z\",\"topic\":\"grease/site/station/telemetry\",\"payload\":{...}}";

Fault unreadable(std::string_view where, std::string why) {
  return {FaultCode::unreadable_record, std::string(where), std::move(why), std::string(remedy)};
}

bool is_space(char c) { return c == ' ' || c == '\t' || c == '\r' || c == '\n'; }

// Bytes that a value's end depends on. All else is passed over: whether a payload is JSON is its decoder's question.
constexpr std::array<bool, 256> make_marks() {
  std::array<bool, 256> marks{};
  for (const char c : {'"', '{', '}', '[', ']'}) marks[static_cast<unsigned char>(c)] = true;
  return marks;
}
constexpr auto marks = make_marks();

struct Cursor {
  const char* at;
  const char* end;

  [[nodiscard]] bool done() const { return at == end; }
  void spaces() {
    while (at != end && is_space(*at)) ++at;
  }
  bool take(char c) {
    spaces();
    if (at == end || *at != c) return false;
    ++at;
    return true;
  }
  // Text between quotes as it stands, escapes and all.
  std::optional<std::string_view> string() {
    if (!take('"')) return std::nullopt;
    const char* const first = at;
    while (at != end) {
      const auto* quote = static_cast<const char*>(std::memchr(at, '"', static_cast<std::size_t>(end - at)));
      if (quote == nullptr) break;
      const char* slash = quote;
      while (slash != first && slash[-1] == '\\') --slash;
      at = quote + 1;
      if ((quote - slash) % 2 == 0) return std::string_view(first, static_cast<std::size_t>(quote - first));
    }
    at = end;
    return std::nullopt;
  }
  // Any value as it stands, without the space around it.
  std::optional<std::string_view> value() {
    spaces();
    const char* const first = at;
    if (done()) return std::nullopt;
    if (*at == '"') {
      if (!string()) return std::nullopt;
    } else if (*at == '{' || *at == '[') {
      if (!nested()) return std::nullopt;
    } else {
      while (at != end && *at != ',' && *at != '}' && !is_space(*at)) ++at;
      if (at == first) return std::nullopt;
    }
    return std::string_view(first, static_cast<std::size_t>(at - first));
  }
  bool nested() {
    std::size_t depth = 0;
    while (at != end) {
      while (at != end && !marks[static_cast<unsigned char>(*at)]) ++at;
      if (done()) return false;
      if (*at == '"') {
        if (!string()) return false;
        continue;
      }
      const bool opens = *at == '{' || *at == '[';
      ++at;
      if (opens) ++depth;
      else if (--depth == 0) return true;
    }
    return false;
  }
};

std::optional<unsigned> hex4(std::string_view text) {
  if (text.size() < 4) return std::nullopt;
  unsigned value = 0;
  for (const char c : text.substr(0, 4)) {
    const std::size_t digit = std::string_view("0123456789abcdefABCDEF").find(c);
    if (digit == std::string_view::npos) return std::nullopt;
    value = value * 16 + static_cast<unsigned>(digit > 15 ? digit - 6 : digit);
  }
  return value;
}

void append_utf8(std::string& out, unsigned code) {
  const auto add = [&](unsigned byte) { out += static_cast<char>(byte); };
  if (code < 0x80) return add(code);
  if (code < 0x800) {
    add(0xC0U | code >> 6U);
  } else {
    if (code < 0x10000) {
      add(0xE0U | code >> 12U);
    } else {
      add(0xF0U | code >> 18U);
      add(0x80U | (code >> 12U & 0x3FU));
    }
    add(0x80U | (code >> 6U & 0x3FU));
  }
  add(0x80U | (code & 0x3FU));
}

// False for an escape that JSON does not have.
bool unescape(std::string_view text, std::string& out) {
  constexpr std::string_view letters = "\"\\/bfnrt";
  constexpr std::string_view meant = "\"\\/\b\f\n\r\t";
  out.clear();
  for (std::size_t at = 0; at < text.size();) {
    if (text[at] != '\\') {
      out += text[at++];
      continue;
    }
    if (++at == text.size()) return false;
    const std::size_t letter = letters.find(text[at]);
    if (letter != std::string_view::npos) {
      out += meant[letter];
      ++at;
      continue;
    }
    if (text[at] != 'u') return false;
    auto code = hex4(text.substr(at + 1));
    if (!code) return false;
    at += 5;
    if (*code >= 0xD800 && *code < 0xDC00 && text.substr(at, 2) == "\\u") {
      const auto low = hex4(text.substr(at + 2));
      if (low && *low >= 0xDC00 && *low < 0xE000) {
        code = 0x10000 + ((*code - 0xD800) << 10U) + (*low - 0xDC00);
        at += 6;
      }
    }
    append_utf8(out, *code >= 0xD800 && *code < 0xE000 ? 0xFFFDU : *code);  // half of a pair is no character
  }
  return true;
}

struct Members {
  std::optional<std::string_view> received, topic, payload, payload_base64;
};

// Text of a string value; the view is without its quotes.
std::optional<std::string_view> inside_quotes(std::string_view value) {
  if (value.size() < 2 || value.front() != '"') return std::nullopt;
  return value.substr(1, value.size() - 2);
}

std::optional<Fault> read_members(std::string_view line, Members& out) {
  Cursor cursor{line.data(), line.data() + line.size()};
  const auto broken = [&] {
    if (cursor.done()) return unreadable({}, "the line ends too early, after " + in_quotes(line.substr(line.size() > 24 ? line.size() - 24 : 0)));
    const auto at = static_cast<std::size_t>(cursor.at - line.data());
    return unreadable({}, "not a JSON object at byte " + std::to_string(at) + ", in " + in_quotes(line.substr(at > 12 ? at - 12 : 0, 24)));
  };
  if (!cursor.take('{')) return broken();
  if (cursor.take('}')) return std::nullopt;
  do {
    const auto key = cursor.string();
    if (!key || !cursor.take(':')) return broken();
    const auto value = cursor.value();
    if (!value) return broken();
    std::optional<std::string_view>* const slot = *key == "received"         ? &out.received
                                                  : *key == "topic"          ? &out.topic
                                                  : *key == "payload"        ? &out.payload
                                                  : *key == "payload_base64" ? &out.payload_base64
                                                                             : nullptr;
    if (slot == nullptr) continue;
    if (*slot) return unreadable({}, in_quotes(*key) + " stands twice");
    *slot = value;
  } while (cursor.take(','));
  if (!cursor.take('}')) return broken();
  cursor.spaces();
  if (!cursor.done()) return broken();
  return std::nullopt;
}

}  // namespace

std::optional<Fault> read_record(std::string_view line, Message& out) {
  Members members;
  if (auto fault = read_members(line, members)) return fault;

  if (!members.received) return unreadable("/received", "no time of arrival");
  const auto received = inside_quotes(*members.received);
  const auto time = received ? parse_rfc3339(*received) : std::nullopt;
  if (!time) return unreadable("/received", cut_short(*members.received) + " is no RFC 3339 time");
  out.received = *time;

  if (!members.topic) return unreadable("/topic", "no topic");
  const auto topic = inside_quotes(*members.topic);
  if (!topic) return unreadable("/topic", cut_short(*members.topic) + " is no text");
  if (topic->find('\\') == std::string_view::npos) out.topic.assign(*topic);
  else if (!unescape(*topic, out.topic)) return unreadable("/topic", cut_short(*members.topic) + " holds an unknown escape");

  if (members.payload.has_value() == members.payload_base64.has_value())
    return unreadable({}, members.payload ? "both payload and payload_base64" : "neither payload nor payload_base64");
  if (members.payload) {
    out.payload.assign(*members.payload);
    return std::nullopt;
  }
  const auto base64 = inside_quotes(*members.payload_base64);
  if (!base64 || !read_base64(*base64, out.payload))
    return unreadable("/payload_base64", cut_short(*members.payload_base64) + " is no base64");
  return std::nullopt;
}

void append_record(std::string& out, const Message& message) {
  out += "{\"received\":\"";
  out += rfc3339(message.received);
  out += "\",\"topic\":";
  append_json_string(out, message.topic);
  // Only JSON that the reader hands back to the byte may stand as it is: on one line, and without space around it.
  const std::string_view payload = message.payload;
  const bool as_it_is = !payload.empty() && !is_space(payload.front()) && !is_space(payload.back()) &&
                        payload.find_first_of("\r\n") == std::string_view::npos && !first_offence(payload);
  if (as_it_is) {
    out += ",\"payload\":";
    out += payload;
    out += '}';
    return;
  }
  out += ",\"payload_base64\":\"";
  append_base64(out, payload);
  out += "\"}";
}

}  // namespace driftline
