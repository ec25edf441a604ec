#include "gateway/messages/measures.h"

#include <cmath>
#include <cstdio>
#include <cstdlib>

#include "gateway/telemetry/json_text.h"

namespace driftline::messages {
namespace {

constexpr double horizon_days = 120;  // forecasts end there

std::string two(int value) { return (value < 10 ? "0" : "") + std::to_string(value); }

bool is_of_number(char c) { return (c >= '0' && c <= '9') || c == '.'; }

// The number that ends before `end`, if there is one: where it begins.
std::size_t number_before(std::string_view text, std::size_t end) {
  std::size_t begin = end;
  while (begin > 0 && is_of_number(text[begin - 1])) --begin;
  if (begin > 0 && begin < end && text[begin - 1] == '-' && (begin == 1 || text[begin - 2] == ' ')) --begin;
  return begin;
}

struct Length {
  std::string name, number, text;
};
Length length_of(double days, const Words& words) {
  char text[32];
  if (days > horizon_days - 0.5) return {"left/beyond", "120", words.say("left/beyond", {{"number", "120"}})};
  if (days * 24 < 1) return {"left/now", "", words.say("left/now")};
  std::snprintf(text, sizeof text, days < 1.5 ? "%.0f" : days < 3 ? "%.1f" : "%.0f", days < 1.5 ? days * 24 : days);
  const std::string name = days < 1.5 ? "left/hours" : "left/days";
  return {name, text, words.say(name, {{"number", text}})};
}

template <class Convert>
std::string converted(std::string_view text, std::string_view unit, std::string_view other, Convert convert) {
  std::string out;
  std::size_t done = 0;
  for (std::size_t at = 0; (at = text.find(unit, at)) != std::string_view::npos; at += unit.size()) {
    const std::size_t after = at + unit.size();
    const bool ends = after == text.size() || !((text[after] >= 'a' && text[after] <= 'z') || (text[after] >= 'A' && text[after] <= 'Z'));
    const std::size_t begin = number_before(text, at);
    if (!ends || begin == at || begin < done) continue;
    out += text.substr(done, begin - done);
    out += number_text(convert(std::strtod(std::string(text.substr(begin, at - begin)).c_str(), nullptr)));
    out += other;
    done = after;
  }
  return out + std::string(text.substr(done));
}

}  // namespace

std::string number_text(double value) {
  char text[32];
  const double size = std::abs(value);
  std::snprintf(text, sizeof text, size >= 99.95 ? "%.0f" : size >= 9.995 ? "%.1f" : "%.2f", value);
  return text;
}

std::string figure_text(std::string_view figure, double value, const Units& units, const Words& words) {
  if (figure.ends_with("_bar")) return units.psi ? number_text(value * psi_per_bar) + " psi" : number_text(value) + " bar";
  const std::string unit = words.say("unit/" + std::string(figure));
  return number_text(value) + (unit.empty() ? "" : " " + unit);
}

std::string in_units(std::string_view sentence, const Units& units) {
  std::string text(sentence);
  if (units.psi) text = converted(text, " bar", " psi", [](double bar) { return bar * psi_per_bar; });
  if (units.fahrenheit) text = converted(text, " C", " F", [](double c) { return c * 9 / 5 + 32; });
  return text;
}

std::string clock_text(Time time, const std::string& zone) {
  const Local local = local_of(time, zone);
  return std::to_string(local.year) + "-" + two(local.month) + "-" + two(local.day) + " " + two(local.minute / 60) + ":" + two(local.minute % 60);
}

std::string length_text(double days, const Words& words) { return length_of(days, words).text; }

std::string between_text(double low_days, double high_days, const Words& words) {
  const Length low = length_of(low_days, words), high = length_of(high_days, words);
  if (low.text == high.text) return low.text;
  return words.say("left/between", {{"low", low.name == high.name ? low.number : low.text}, {"high", high.text}});
}

std::size_t characters_of(std::string_view text) {
  std::size_t count = 0;
  for (std::size_t at = 0; at < text.size(); ++count) at += std::max<std::size_t>(1, utf8_length(text.substr(at)));
  return count;
}

std::string shortened(std::string_view text, std::size_t characters) {
  if (characters_of(text) <= characters) return std::string(text);
  if (characters == 0) return {};
  std::size_t at = 0;
  for (std::size_t count = 0; count + 1 < characters; ++count) at += std::max<std::size_t>(1, utf8_length(text.substr(at)));
  return std::string(text.substr(0, at)) + "\u2026";
}

}  // namespace driftline::messages
