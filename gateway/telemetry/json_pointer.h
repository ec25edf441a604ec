// JSON Pointer (RFC 6901), read once and followed often. Checked in tests/reference/json_pointer_test.cpp.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace simdjson::dom {
class element;
}

namespace driftline {

class JsonPointer {
 public:
  // Empty for a text that is no pointer: not starting with '/', or '~' without 0 or 1.
  [[nodiscard]] static std::optional<JsonPointer> parse(std::string_view text);

  // False when the document has no such value. Of a member that stands twice the first is meant. "-", the place behind a
  // list's end, is never there.
  [[nodiscard]] bool find(const simdjson::dom::element& document, simdjson::dom::element& found) const;

  [[nodiscard]] const std::string& text() const { return text_; }

 private:
  std::string text_;
  std::vector<std::string> steps_;  // unescaped
};

}  // namespace driftline
