#include "gateway/telemetry/json_pointer.h"

#include <simdjson.h>

namespace driftline {
namespace {

using simdjson::dom::element;
using simdjson::dom::element_type;

// `~1` before `~0` (section 4): one pass over the text does both at once.
bool unescape(std::string_view text, std::string& out) {
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] != '~') {
      out += text[i];
      continue;
    }
    if (++i == text.size() || (text[i] != '0' && text[i] != '1')) return false;
    out += text[i] == '0' ? '~' : '/';
  }
  return true;
}

// Digits without a leading zero; empty for anything else.
std::optional<std::size_t> list_index(std::string_view step) {
  if (step.empty() || step.size() > 9 || (step.size() > 1 && step[0] == '0')) return std::nullopt;
  std::size_t index = 0;
  for (const char c : step) {
    if (c < '0' || c > '9') return std::nullopt;
    index = index * 10 + static_cast<std::size_t>(c - '0');
  }
  return index;
}

bool take_step(const std::string& step, element& at) {
  if (at.type() == element_type::OBJECT) {
    const simdjson::dom::object members = at.get_object().value_unsafe();
    return members.at_key(step).get(at) == simdjson::SUCCESS;
  }
  if (at.type() != element_type::ARRAY) return false;
  const auto index = list_index(step);
  if (!index) return false;
  const simdjson::dom::array items = at.get_array().value_unsafe();
  return items.at(*index).get(at) == simdjson::SUCCESS;
}

}  // namespace

std::optional<JsonPointer> JsonPointer::parse(std::string_view text) {
  JsonPointer pointer;
  pointer.text_ = text;
  if (text.empty()) return pointer;
  if (text.front() != '/') return std::nullopt;
  for (std::size_t begin = 1; begin <= text.size();) {
    const std::size_t end = std::min(text.find('/', begin), text.size());
    std::string& step = pointer.steps_.emplace_back();
    if (!unescape(text.substr(begin, end - begin), step)) return std::nullopt;
    begin = end + 1;
  }
  return pointer;
}

bool JsonPointer::find(const element& document, element& found) const {
  element at = document;
  for (const std::string& step : steps_)
    if (!take_step(step, at)) return false;
  found = at;
  return true;
}

}  // namespace driftline
