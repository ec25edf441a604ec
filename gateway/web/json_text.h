// JSON written piece by piece into one string. Commas are seen to; that brackets match is the caller's part.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "rules/records/time.h"

namespace driftline::web {

// Rounded to that many decimals, then the shortest form; not finite: null.
struct Rounded {
  std::optional<double> value;
  int decimals = 2;
};

void append_escaped(std::string& out, std::string_view utf8);  // with quotes; what is not UTF-8 becomes U+FFFD
void append_rounded(std::string& out, double value, int decimals);

class JsonText {
 public:
  JsonText& open(char bracket) {
    comma();
    out_ += bracket;
    first_ = true;
    return *this;
  }
  JsonText& close(char bracket) {
    out_ += bracket;
    first_ = false;
    return *this;
  }
  JsonText& key(std::string_view name);
  JsonText& null() { return raw("null"); }
  JsonText& raw(std::string_view json) {
    comma();
    out_ += json;
    return *this;
  }
  JsonText& put(std::string_view text) {
    comma();
    append_escaped(out_, text);
    return *this;
  }
  JsonText& put(const char* text) { return put(std::string_view{text}); }
  JsonText& put(const std::string& text) { return put(std::string_view{text}); }
  JsonText& put(bool value) { return raw(value ? "true" : "false"); }
  JsonText& put(std::int64_t value);
  JsonText& put(std::uint64_t value) { return put(static_cast<std::int64_t>(value)); }
  JsonText& put(int value) { return put(static_cast<std::int64_t>(value)); }
  JsonText& put(Time time) { return put(static_cast<std::int64_t>(ms_since_1970(time))); }
  JsonText& put(Rounded value) {
    comma();
    if (value.value) append_rounded(out_, *value.value, value.decimals);
    else out_ += "null";
    return *this;
  }
  template <typename T>
  JsonText& put(const std::optional<T>& value) {
    return value ? put(*value) : null();
  }
  template <typename T>
  JsonText& put(std::string_view name, const T& value) {
    return key(name).put(value);
  }
  [[nodiscard]] const std::string& text() const { return out_; }
  [[nodiscard]] std::string take() { return std::move(out_); }

 private:
  void comma() {
    if (!first_) out_ += ',';
    first_ = false;
  }
  std::string out_;
  bool first_ = true;
};

}  // namespace driftline::web
