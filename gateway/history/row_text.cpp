#include "gateway/history/row_text.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <chrono>
#include <cmath>
#include <span>
#include <string_view>

#include "gateway/telemetry/json_text.h"
#include "rules/records/names.h"

namespace driftline {
namespace {

void append_digits(std::string& out, unsigned value, int digits) {
  std::array<char, 8> text{};
  for (int i = digits; i-- > 0; value /= 10) text[static_cast<std::size_t>(i)] = static_cast<char>('0' + value % 10);
  out.append(text.data(), static_cast<std::size_t>(digits));
}

// False, with nothing appended, for a year that RFC 3339 cannot write.
bool append_date(std::string& out, std::chrono::sys_days day) {
  const std::chrono::year_month_day date{day};
  const int year = static_cast<int>(date.year());
  if (year < 0 || year > 9999 || !date.ok()) return false;
  append_digits(out, static_cast<unsigned>(year), 4);
  out += '-';
  append_digits(out, static_cast<unsigned>(date.month()), 2);
  out += '-';
  append_digits(out, static_cast<unsigned>(date.day()), 2);
  return true;
}

// Days since 1970 that std::chrono's calendar can hold lie well inside these.
constexpr std::int64_t days_max = 4'000'000;

// As rfc3339() writes it.
void append_time(std::string& out, Time time) {
  const auto day = std::chrono::floor<std::chrono::days>(time);
  const std::size_t start = out.size();
  out += '"';
  if (std::abs(day.time_since_epoch().count()) > days_max || !append_date(out, day)) {
    out.resize(start);
    out += "null";
    return;
  }
  const auto ms = static_cast<unsigned>((time - day).count());
  out += 'T';
  append_digits(out, ms / 3'600'000, 2);
  out += ':';
  append_digits(out, ms / 60'000 % 60, 2);
  out += ':';
  append_digits(out, ms / 1000 % 60, 2);
  out += '.';
  append_digits(out, ms % 1000, 3);
  out += "Z\"";
}

void append_number(std::string& out, double value, int decimals) {
  constexpr std::array<double, 5> scales{1, 10, 100, 1000, 10000};
  constexpr double rounded_below = 1e11;  // beyond, no decimals are left to round
  if (!std::isfinite(value)) {
    out += "null";
    return;
  }
  const double scale = scales.at(static_cast<std::size_t>(decimals));
  if (std::abs(value) < rounded_below) value = std::round(value * scale) / scale;
  if (value == 0) value = 0;  // -0
  std::array<char, 32> text{};
  const bool fixed = std::abs(value) < 1e15;
  const auto result = fixed ? std::to_chars(text.data(), text.data() + text.size(), value, std::chars_format::fixed)
                            : std::to_chars(text.data(), text.data() + text.size(), value);
  out.append(text.data(), result.ptr);
}

void append_whole(std::string& out, int value) {
  std::array<char, 16> text{};
  out.append(text.data(), std::to_chars(text.data(), text.data() + text.size(), value).ptr);
}

// Builds one object; the name says which JSON a member becomes.
class Row {
 public:
  explicit Row(std::string& out) : out_(out) { out_ += '{'; }
  void end() { out_ += "}\n"; }

  void text(std::string_view name, std::string_view value) {
    member(name);
    append_json_string(out_, value);
  }
  void text_if_known(std::string_view name, const std::string* value) {
    if (value != nullptr) text(name, *value);
    else null(name);
  }
  void text_if_any(std::string_view name, const std::string& value) { text_if_known(name, value.empty() ? nullptr : &value); }
  void warning(const history::WarningRef& ref) {
    text("site", ref.station.site);
    text("station", ref.station.station);
    whole("line", ref.line);
    text("condition", name_of(ref.condition));
  }
  void time(std::string_view name, Time value) {
    member(name);
    append_time(out_, value);
  }
  void time(std::string_view name, const std::optional<Time>& value) {
    if (value) time(name, *value);
    else null(name);
  }
  void date(std::string_view name, Time value) {
    member(name);
    out_ += '"';
    append_date(out_, std::chrono::floor<std::chrono::days>(value));
    out_ += '"';
  }
  void number(std::string_view name, const std::optional<double>& value, int decimals) {
    if (!value) return null(name);
    member(name);
    append_number(out_, *value, decimals);
  }
  void whole(std::string_view name, const std::optional<int>& value) {
    if (!value) return null(name);
    member(name);
    append_whole(out_, *value);
  }
  void forecast(const Forecast& forecast) {
    time("limit_at", forecast.limit_at);
    time("limit_at_earliest", forecast.limit_at_earliest);
    time("limit_at_latest", forecast.limit_at_latest);
  }
  void causes(std::span<const WeightedCause> causes);
  void evidence(std::span<const EvidenceItem> evidence) {
    member("evidence");
    out_ += '[';
    for (const EvidenceItem& item : evidence) {
      if (out_.back() != '[') out_ += ',';
      Row row(out_);
      row.text_if_known("figure", item.figure.empty() ? nullptr : &item.figure);
      row.number("value", item.value, 3);
      row.number("usual", item.usual, 3);
      row.time("since", item.since);
      row.text("text", item.text);
      out_ += '}';
    }
    out_ += ']';
  }

 private:
  void member(std::string_view name) {
    if (out_.back() != '{') out_ += ',';
    out_ += '"';
    out_ += name;
    out_ += "\":";
  }
  void null(std::string_view name) {
    member(name);
    out_ += "null";
  }

  std::string& out_;
};

constexpr int thousand = 1000;
using Thousandths = std::array<int, cause_count>;

// Weights in thousandths that sum to 1000: rounded down, and what is missing goes to the largest remainders, the earlier
// cause first, so that the order by weight is kept.
Thousandths shares_of(std::span<const WeightedCause> causes) {
  double sum = 0;
  for (const WeightedCause& cause : causes) sum += cause.weight > 0 ? cause.weight : 0;
  Thousandths shares{};
  std::array<double, cause_count> remainders{};
  int missing = thousand;
  for (std::size_t i = 0; i < causes.size(); ++i) {
    const double weight = sum > 0 && std::isfinite(sum) ? std::max(causes[i].weight, 0.0) / sum
                                                        : 1.0 / static_cast<double>(causes.size());
    shares[i] = static_cast<int>(weight * thousand + 1e-9);
    remainders[i] = weight * thousand - shares[i];
    missing -= shares[i];
  }
  for (; missing > 0; --missing) {
    const auto largest = std::max_element(remainders.begin(), remainders.begin() + static_cast<std::ptrdiff_t>(causes.size()));
    ++shares[static_cast<std::size_t>(largest - remainders.begin())];
    *largest = -1;
  }
  return shares;
}

void Row::causes(std::span<const WeightedCause> causes) {
  member("causes");
  causes = causes.first(std::min(causes.size(), cause_count));
  const Thousandths shares = shares_of(causes);
  out_ += '[';
  for (std::size_t i = 0; i < causes.size(); ++i) {
    if (i > 0) out_ += ',';
    out_ += "{\"cause\":\"";
    out_ += name_of(causes[i].cause);
    out_ += "\",\"weight\":";
    append_number(out_, static_cast<double>(shares[i]) / thousand, 3);
    out_ += '}';
  }
  out_ += ']';
}

}  // namespace

void append_row(std::string& out, const StationId& station, const HalfCycle& turn) {
  Row row(out);
  row.text("site", station.site);
  row.text("station", station.station);
  row.whole("line", turn.line);
  row.time("pump_start", turn.pump_start);
  row.time("pump_stop", turn.pump_stop);
  row.text("outcome", name_of(turn.outcome));
  row.number("time_to_pressure_s", turn.time_to_pressure_s, 3);
  row.number("pump_run_s", turn.pump_run_s, 3);
  row.number("peak_bar", turn.peak_bar, 2);
  row.number("residual_bar", turn.residual_bar, 2);
  row.number("vent_s", turn.vent_s, 3);
  row.number("level_pct", turn.level_pct, 2);
  row.number("temp_c", turn.temp_c, 2);
  row.whole("samples", turn.samples);
  row.number("largest_gap_s", turn.largest_gap_s, 3);
  row.end();
}

void append_row(std::string& out, const WarningChange& change) {
  Row row(out);
  row.time("time", change.time);
  row.text("site", change.station.site);
  row.text("station", change.station.station);
  row.whole("line", change.line);
  row.text("condition", name_of(change.condition));
  row.text("urgency", name_of(change.urgency));
  row.text("change", name_of(change.change));
  row.causes(change.causes);
  row.forecast(change.forecast);
  row.text("text", change.text);
  row.evidence(change.evidence);
  row.end();
}

void append_row(std::string& out, const ReservoirDay& day) {
  Row row(out);
  row.date("date", day.date);
  row.text("site", day.station.site);
  row.text("station", day.station.station);
  row.number("level_pct", day.level_pct, 2);
  row.number("use_pct_per_day", day.use_pct_per_day, 4);
  row.number("life_days", day.life_days, 2);
  row.number("life_days_low", day.life_days_low, 2);
  row.number("life_days_high", day.life_days_high, 2);
  row.end();
}

void append_row(std::string& out, const ForecastDay& day) {
  Row row(out);
  row.date("date", day.date);
  row.text("site", day.station.site);
  row.text("station", day.station.station);
  row.whole("line", day.line);
  row.text("condition", name_of(day.condition));
  row.forecast(day.forecast);
  row.end();
}

void append_row(std::string& out, Time received, std::string_view topic, const std::optional<StationId>& station,
                const Fault& fault) {
  Row row(out);
  row.time("received", received);
  row.text("topic", topic);
  row.text_if_known("site", station ? &station->site : nullptr);
  row.text_if_known("station", station ? &station->station : nullptr);
  row.text("code", name_of(fault.code));
  row.text("where", fault.where);
  row.text("why", fault.why);
  row.text("remedy", fault.remedy);
  row.end();
}

void append_row(std::string& out, const history::LifeRow& life) {
  Row row(out);
  row.warning(history::ref_of(life.last));
  row.text("state", rules::name_of(rules::state_of(life.life)));
  row.text("urgency", name_of(life.life.urgency));
  row.time("raised", life.life.raised);
  row.text_if_any("owner", life.life.owner);
  row.time("shelved_until", life.life.shelf ? std::optional{life.life.shelf->until} : std::nullopt);
  row.text_if_any("shelved_by", life.life.shelf ? life.life.shelf->who : std::string());
  row.text_if_any("out_of_service_by", life.life.out_of_service_by);
  row.end();
}

void append_row(std::string& out, const history::LifeChange& change) {
  Row row(out);
  row.time("time", change.time);
  row.warning(change.warning);
  row.text("event", rules::name_of(change.event));
  row.text("before", rules::name_of(change.before));
  row.text("after", rules::name_of(change.after));
  row.text("urgency", name_of(change.urgency));
  row.time("raised", change.raised);
  row.text_if_any("who", change.who);
  row.text_if_any("why", change.why);
  row.text_if_any("via", change.via);
  row.text_if_any("owner", change.owner);
  row.time("until", change.until);
  row.text_if_any("request", change.request);
  row.end();
}

}  // namespace driftline
