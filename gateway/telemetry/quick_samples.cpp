#include "gateway/telemetry/quick_samples.h"

#include <array>
#include <chrono>
#include <cstring>
#include <limits>
#include <optional>

#include "gateway/telemetry/json_values.h"
#include "gateway/telemetry/limits.h"

namespace driftline {
namespace {

namespace limits = telemetry_limits;

constexpr int digits_max = 15;  // a whole number of so many digits, and a power of ten up to 22, are exact in a double
constexpr std::array<double, digits_max + 1> powers_of_ten{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15};

struct Number {
  std::int64_t digits = 0;  // without the point
  int decimals = -1;        // behind the point; -1: a whole number
  bool negative = false;

  // One division of two exact numbers: correctly rounded, like every good reader of numbers.
  [[nodiscard]] double value() const {
    if (decimals < 0) return static_cast<double>(whole());
    const double size = static_cast<double>(digits) / powers_of_ten[static_cast<std::size_t>(decimals)];
    return negative ? -size : size;
  }
  [[nodiscard]] std::int64_t whole() const { return negative ? -digits : digits; }
};

class Scan {
 public:
  Scan(std::string_view text, Time received) : at_(text.data()), end_(text.data() + text.size()), received_(received) {}

  bool payload(std::vector<Sample>& out) {
    if (!take('[')) return sample(out) && done();
    std::size_t count = 0;
    do {
      if (count++ == limits::samples_per_message_max || !sample(out)) return false;
    } while (take(','));
    return take(']') && done();
  }

 private:
  [[nodiscard]] static bool digit(char c) { return c >= '0' && c <= '9'; }

  void spaces() {
    while (at_ != end_ && (*at_ == ' ' || *at_ == '\n' || *at_ == '\r' || *at_ == '\t')) ++at_;
  }
  bool take(char c) {
    spaces();
    if (at_ == end_ || *at_ != c) return false;
    ++at_;
    return true;
  }
  bool done() {
    spaces();
    return at_ == end_;
  }
  bool word(std::string_view text) {
    if (static_cast<std::size_t>(end_ - at_) < text.size() || std::memcmp(at_, text.data(), text.size()) != 0) return false;
    at_ += text.size();
    return true;
  }

  bool number(Number& out) {
    spaces();
    if (at_ != end_ && *at_ == '-') {
      out.negative = true;
      ++at_;
    }
    const char* const first = at_;
    for (; at_ != end_ && digit(*at_); ++at_) {
      if (at_ - first == digits_max) return false;
      out.digits = out.digits * 10 + (*at_ - '0');
    }
    std::ptrdiff_t digits = at_ - first;
    if (digits == 0 || (digits > 1 && *first == '0')) return false;
    if (at_ == end_ || *at_ != '.') return ends_number();
    const char* const point = at_++;
    for (; at_ != end_ && digit(*at_); ++at_) {
      if (++digits > digits_max) return false;
      out.digits = out.digits * 10 + (*at_ - '0');
    }
    out.decimals = static_cast<int>(at_ - point - 1);
    return out.decimals > 0 && ends_number();
  }
  bool ends_number() {
    spaces();
    return at_ != end_ && (*at_ == ',' || *at_ == '}' || *at_ == ']');
  }

  bool figure(double min, double max, std::optional<double>& out) {
    Number read;
    if (!number(read)) return false;
    out = read.value();
    return *out >= min && *out <= max;
  }
  bool whole(std::int64_t min, std::int64_t max, std::int64_t& out) {
    Number read;
    if (!number(read) || read.decimals >= 0) return false;
    out = read.whole();
    return out >= min && out <= max;
  }
  bool truth(std::optional<bool>& out) {
    spaces();
    out = at_ != end_ && *at_ == 't';
    return word(*out ? "true" : "false");
  }

  // `count` digits, as a number below 10^count.
  bool fixed(int count, int& out) {
    if (end_ - at_ < count) return false;
    out = 0;
    for (; count > 0; --count, ++at_) {
      if (!digit(*at_)) return false;
      out = out * 10 + (*at_ - '0');
    }
    return true;
  }
  bool is(char c) { return at_ != end_ && *at_++ == c; }

  // "2026-03-01T06:00:00.310Z" behind its first quote.
  bool date_time(Time& out) {
    int year = 0, month = 0, day = 0, hour = 0, minute = 0, second = 0;
    if (!fixed(4, year) || !is('-') || !fixed(2, month) || !is('-') || !fixed(2, day) || !is('T')) return false;
    if (!fixed(2, hour) || !is(':') || !fixed(2, minute) || !is(':') || !fixed(2, second)) return false;
    int ms = 0;
    if (at_ != end_ && *at_ == '.') {
      const char* const point = at_++;
      for (int weight = 100; at_ != end_ && digit(*at_); ++at_, weight /= 10) ms += weight * (*at_ - '0');
      if (at_ == point + 1) return false;
    }
    if (!is('Z') || !is('"') || hour > 23 || minute > 59 || second > 59) return false;
    const std::chrono::year_month_day date{std::chrono::year{year}, std::chrono::month{static_cast<unsigned>(month)},
                                           std::chrono::day{static_cast<unsigned>(day)}};
    if (!date.ok()) return false;
    const std::int64_t days = std::chrono::sys_days{date}.time_since_epoch().count();
    out = time_from_ms(((days * 24 + hour) * 60 + minute) * 60'000 + second * 1000 + ms);
    return true;
  }
  bool time(Time& out) {
    if (take('"')) return date_time(out) && json_values::plausible(out, received_);
    std::int64_t ms = 0;
    if (!whole(0, std::numeric_limits<std::int64_t>::max(), ms)) return false;
    out = time_from_ms(ms);
    return json_values::plausible(out, received_);
  }

  bool pressures(Pressures& out) {
    if (!take('[')) return false;
    do {
      if (out.lines == lines_max) return false;
      spaces();
      std::optional<double> bar;
      if (at_ != end_ && *at_ == 'n' ? !word("null") : !figure(limits::pressure_bar_min, limits::pressure_bar_max, bar)) return false;
      out.append(bar);
    } while (take(','));
    return take(']');
  }

  bool field(Sample& out, bool& timed, bool& telling) {
    if (!take('"') || at_ == end_) return false;
    const auto named = [&](std::string_view rest, unsigned bit) {
      const bool fresh = (met_ & bit) == 0;
      met_ |= bit;
      return fresh && word(rest) && take(':');
    };
    std::int64_t count = 0;
    switch (*at_) {
      case 't':
        if (end_ - at_ > 1 && at_[1] == 'e') return telling = true, named("temp_c\"", 1) && figure(limits::temp_c_min, limits::temp_c_max, out.temp_c);
        return timed = true, named("time\"", 2) && time(out.time);
      case 's':
        if (!named("seq\"", 4) || !whole(0, std::numeric_limits<std::int64_t>::max(), count)) return false;
        out.seq = static_cast<std::uint64_t>(count);
        return true;
      case 'p':
        telling = true;
        if (end_ - at_ > 1 && at_[1] == 'u') return named("pump\"", 8) && truth(out.pump);
        return named("pressure_bar\"", 16) && pressures(out.pressure);
      case 'l':
        telling = true;
        if (end_ - at_ > 6 && at_[1] == 'e')
          return at_[6] == 'p' ? named("level_pct\"", 32) && figure(limits::level_pct_min, limits::level_pct_max, out.level_pct)
                               : named("level_low\"", 64) && truth(out.level_low);
        if (!named("line\"", 128) || !whole(1, lines_max, count)) return false;
        out.line = static_cast<int>(count);
        return true;
      default: return false;
    }
  }

  bool sample(std::vector<Sample>& out) {
    if (!take('{')) return false;
    met_ = 0;
    bool timed = false;
    bool telling = false;  // says more than its time
    Sample& read = out.emplace_back();
    do {
      if (!field(read, timed, telling)) return false;
    } while (take(','));
    return take('}') && timed && telling;
  }

  const char* at_;
  const char* end_;
  Time received_;
  unsigned met_ = 0;  // fields of the present sample
};

}  // namespace

bool quick_samples(std::string_view payload, Time received, std::vector<Sample>& out) {
  const std::size_t before = out.size();
  if (payload.size() <= limits::payload_bytes_max && Scan(payload, received).payload(out)) return true;
  out.resize(before);
  return false;
}

}  // namespace driftline
