#include "gateway/telemetry/not_json.h"

#include <bitset>
#include <string>

#include "gateway/telemetry/json_text.h"
#include "gateway/telemetry/limits.h"

namespace driftline {
namespace {

constexpr std::string_view remedy = "UTF-8 JSON as RFC 8259 has it, numbers with a decimal point, null where there is no value";

bool is_space(char c) { return c == ' ' || c == '\t' || c == '\n' || c == '\r'; }
bool is_digit(char c) { return c >= '0' && c <= '9'; }

// Reads JSON strictly and stops at the first offence; for faults only, so plain rather than fast.
class Walk {
 public:
  explicit Walk(std::string_view text) : text_(text) {}

  std::optional<std::size_t> offence() {
    if (!value()) return at_;
    while (depth_ > 0)
      if (!step()) return at_;
    spaces();
    if (at_ < text_.size()) return at_;
    return std::nullopt;
  }

  [[nodiscard]] bool too_deep() const { return too_deep_; }

 private:
  // After a value inside a list or an object: what may follow it.
  bool step() {
    spaces();
    const bool in_object = objects_[depth_ - 1];
    if (take(in_object ? '}' : ']')) {
      --depth_;
      fresh_ = false;
      return true;
    }
    if (!fresh_ && !take(',')) return false;
    fresh_ = false;
    if (in_object) {
      spaces();
      if (!string()) return false;
      spaces();
      if (!take(':')) return false;
    }
    return value();
  }

  bool value() {
    spaces();
    if (at_ == text_.size()) return false;
    const char c = text_[at_];
    if (c == '{' || c == '[') {
      if (depth_ == telemetry_limits::payload_depth_max) {
        too_deep_ = true;
        return false;
      }
      objects_[depth_++] = c == '{';
      fresh_ = true;
      ++at_;
      return true;
    }
    fresh_ = false;
    if (c == '"') return string();
    if (c == 't') return word("true");
    if (c == 'f') return word("false");
    if (c == 'n') return word("null");
    return number();
  }

  bool string() {
    if (!take('"')) return false;
    while (at_ < text_.size()) {
      const auto c = static_cast<unsigned char>(text_[at_]);
      if (c == '"') return take('"');
      if (c < 0x20) return false;
      if (c == '\\') {
        if (!escape()) return false;
        continue;
      }
      const std::size_t length = utf8_length(text_.substr(at_));
      if (length == 0) return false;
      at_ += length;
    }
    return false;
  }

  bool escape() {
    if (at_ + 1 >= text_.size()) {
      at_ = text_.size();
      return false;
    }
    const char c = text_[at_ + 1];
    if (c == 'u') {
      for (std::size_t i = at_ + 2; i < at_ + 6; ++i)
        if (i >= text_.size() || std::string_view("0123456789abcdefABCDEF").find(text_[i]) == std::string_view::npos) {
          at_ = i < text_.size() ? i : text_.size();
          return false;
        }
      at_ += 6;
      return true;
    }
    if (std::string_view("\"\\/bfnrt").find(c) == std::string_view::npos) return false;
    at_ += 2;
    return true;
  }

  bool word(std::string_view expected) {
    for (const char c : expected)
      if (!take(c)) return false;
    return true;
  }

  bool number() {
    take('-');
    if (!take('0') && !digits()) return false;
    if (take('.') && !digits()) return false;
    if (take('e') || take('E')) {
      if (!take('+')) take('-');
      return digits();
    }
    return true;
  }

  bool digits() {
    const std::size_t first = at_;
    while (at_ < text_.size() && is_digit(text_[at_])) ++at_;
    return at_ > first;
  }

  bool take(char c) {
    if (at_ >= text_.size() || text_[at_] != c) return false;
    ++at_;
    return true;
  }

  void spaces() {
    while (at_ < text_.size() && is_space(text_[at_])) ++at_;
  }

  std::string_view text_;
  std::size_t at_ = 0;
  std::size_t depth_ = 0;
  bool too_deep_ = false;
  bool fresh_ = false;  // just inside a bracket: no comma is due
  std::bitset<telemetry_limits::payload_depth_max> objects_;
};

std::string around(std::string_view text, std::size_t at) {
  constexpr std::size_t before = 12;
  std::size_t first = at > before ? at - before : 0;
  while (first > 0 && (static_cast<unsigned char>(text[first]) & 0xC0U) == 0x80) --first;
  return in_quotes(text.substr(first, at + before - first));
}

}  // namespace

std::optional<std::size_t> first_offence(std::string_view text) { return Walk(text).offence(); }

Fault not_json_fault(std::string_view payload) {
  Fault fault{FaultCode::not_json, {}, {}, std::string(remedy)};
  Walk walk(payload);
  const auto at = walk.offence();
  if (walk.too_deep())
    return {FaultCode::too_deep, {}, "lists or objects stand in each other too deep, in " + around(payload, *at),
            "at most " + std::to_string(telemetry_limits::payload_depth_max) + " levels; a sample needs two"};
  if (payload.find_first_not_of(" \t\r\n") == std::string_view::npos) fault.why = "the payload is empty";
  else if (!at) fault.why = "not readable as JSON: " + in_quotes(payload);
  else if (*at >= payload.size()) fault.why = "cut off: it ends before its JSON does, after " + around(payload, payload.size());
  else if (static_cast<unsigned char>(payload[*at]) >= 0x80 && utf8_length(payload.substr(*at)) == 0)
    fault.why = "byte " + std::to_string(*at) + " is not UTF-8, in " + around(payload, *at);
  else fault.why = "not JSON at byte " + std::to_string(*at) + ", in " + around(payload, *at);
  return fault;
}

}  // namespace driftline
