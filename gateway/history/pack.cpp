#include "gateway/history/pack.h"

#include <algorithm>
#include <bit>
#include <cstring>

#include "gateway/history/varint.h"

namespace driftline::history {
namespace {

constexpr char version = 1;
constexpr char thousandths = 0;
constexpr char raw = 1;
constexpr std::uint64_t numbers_max = 4'096;  // far above curve_points_max; a bound on what damaged bytes can ask for

std::vector<double> known(const LinePressures& lines, unsigned char& mask) {
  std::vector<double> values;
  mask = 0;
  for (std::size_t i = 0; i < lines.size(); ++i) {
    if (!lines[i]) continue;
    mask = static_cast<unsigned char>(mask | (1U << i));
    values.push_back(*lines[i]);
  }
  return values;
}

bool spread(unsigned char mask, std::string_view& bytes, LinePressures& lines) {
  const auto values = unpack_numbers(bytes);
  if (!values || values->size() != static_cast<std::size_t>(std::popcount(mask))) return false;
  std::size_t next = 0;
  for (std::size_t i = 0; i < lines.size(); ++i)
    if ((mask >> i & 1U) != 0) lines[i] = (*values)[next++];
  return true;
}

}  // namespace

void pack_numbers(std::span<const double> numbers, std::string& out) {
  out.push_back(version);
  put_varint(numbers.size(), out);
  const bool whole = std::all_of(numbers.begin(), numbers.end(), [](double n) { return in_thousandths(n).has_value(); });
  out.push_back(whole ? thousandths : raw);
  std::int64_t before = 0;
  for (const double number : numbers) {
    if (whole) {
      const std::int64_t value = *in_thousandths(number);
      put_varint(zigzag(value - before), out);
      before = value;
    } else {
      char bytes[sizeof number];
      std::memcpy(bytes, &number, sizeof number);
      out.append(bytes, sizeof bytes);
    }
  }
}

std::optional<std::vector<double>> unpack_numbers(std::string_view& bytes) {
  if (take_byte(bytes) != version) return std::nullopt;
  const auto count = take_varint(bytes);
  const auto kind = take_byte(bytes);
  if (!count || *count > numbers_max || !kind || (*kind != thousandths && *kind != raw)) return std::nullopt;
  std::vector<double> numbers;
  numbers.reserve(*count);
  std::uint64_t value = 0;  // wraps on damaged bytes, where a signed sum would be undefined
  for (std::uint64_t i = 0; i < *count; ++i) {
    if (*kind == thousandths) {
      const auto step = take_varint(bytes);
      if (!step) return std::nullopt;
      value += static_cast<std::uint64_t>(unzigzag(*step));
      numbers.push_back(static_cast<double>(static_cast<std::int64_t>(value)) / 1000.0);
    } else {
      double number = 0;
      if (bytes.size() < sizeof number) return std::nullopt;
      std::memcpy(&number, bytes.data(), sizeof number);
      bytes.remove_prefix(sizeof number);
      numbers.push_back(number);
    }
  }
  return numbers;
}

std::string pack_curve(const std::vector<CurvePoint>& curve) {
  if (curve.empty()) return {};
  std::vector<double> after_s;
  std::vector<double> bar;
  for (const CurvePoint& point : curve) {
    after_s.push_back(point.after_s);
    bar.push_back(point.bar);
  }
  std::string out;
  pack_numbers(after_s, out);
  pack_numbers(bar, out);
  return out;
}

std::optional<std::vector<CurvePoint>> unpack_curve(std::string_view bytes) {
  std::vector<CurvePoint> curve;
  if (bytes.empty()) return curve;
  const auto after_s = unpack_numbers(bytes);
  const auto bar = unpack_numbers(bytes);
  if (!after_s || !bar || after_s->size() != bar->size() || !bytes.empty()) return std::nullopt;
  for (std::size_t i = 0; i < bar->size(); ++i) curve.push_back({(*after_s)[i], (*bar)[i]});
  return curve;
}

std::string pack_others(const LinePressures& start_bar, const LinePressures& stop_bar) {
  std::string out;
  for (const LinePressures* lines : {&start_bar, &stop_bar}) {
    unsigned char mask = 0;
    const std::vector<double> values = known(*lines, mask);
    out.push_back(static_cast<char>(mask));
    pack_numbers(values, out);
  }
  return out;
}

std::optional<OtherLines> unpack_others(std::string_view bytes) {
  OtherLines others;
  for (LinePressures* lines : {&others.start_bar, &others.stop_bar}) {
    const auto mask = take_byte(bytes);
    if (!mask || !spread(static_cast<unsigned char>(*mask), bytes, *lines)) return std::nullopt;
  }
  if (!bytes.empty()) return std::nullopt;
  return others;
}

}  // namespace driftline::history
