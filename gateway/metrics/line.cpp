#include "gateway/metrics/line.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <stdexcept>

#include "gateway/metrics/limits.h"
#include "rules/records/names.h"

namespace driftline::metrics {
namespace {

bool may_stand_in_tag(char c) {
  return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '.' || c == '_' || c == '-';
}

// Tags first, then fields, then end().
class LineBuilder {
 public:
  LineBuilder(std::string& out, std::string_view measurement) : out_(out), begin_(out.size()) { out_ += measurement; }

  void tag(std::string_view key, std::string_view value) {
    if (key <= last_tag_) throw std::logic_error("tags of a line are not sorted");
    last_tag_ = key;
    if (value.empty() || value.size() > tag_bytes_max || !std::all_of(value.begin(), value.end(), may_stand_in_tag))
      refuse(Refusal::bad_tag);
    out_.append(",").append(key).append("=").append(value);
  }
  void tag_line(std::optional<int> line) {
    if (line) tag("line", std::to_string(*line));
  }

  void field(std::string_view key, double value) {
    if (!std::isfinite(value)) return refuse(Refusal::not_finite);
    begin_field(key);
    number(value);
  }
  void field(std::string_view key, const std::optional<double>& value) {
    if (value) field(key, *value);
  }
  void field(std::string_view key, std::int64_t value) {
    begin_field(key);
    number(value);
    out_ += 'i';
  }
  void field(std::string_view key, bool value) {
    begin_field(key);
    out_ += value ? "true" : "false";
  }

  [[nodiscard]] std::optional<Refusal> end(Time time) {
    const std::int64_t ms = ms_since_1970(time);
    if (fields_ == 0) refuse(Refusal::no_field);
    if (ms < time_ms_min || ms > time_ms_max) refuse(Refusal::time_out_of_range);
    out_ += ' ';
    number(ms);
    out_ += '\n';
    if (out_.size() - begin_ > line_bytes_max) refuse(Refusal::too_long);
    if (refusal_) out_.resize(begin_);
    return refusal_;
  }

 private:
  void begin_field(std::string_view key) { out_.append(fields_++ == 0 ? " " : ",").append(key).append("="); }
  template <typename Number>
  void number(Number value) {
    char digits[32];
    out_.append(digits, std::to_chars(digits, digits + sizeof digits, value).ptr);
  }
  void refuse(Refusal refusal) {
    if (!refusal_) refusal_ = refusal;
  }

  std::string& out_;
  std::size_t begin_;
  std::string_view last_tag_;
  int fields_ = 0;
  std::optional<Refusal> refusal_;
};

void days_to(LineBuilder& line, Time from, const Forecast& forecast) {
  const auto days = [&](std::string_view key, const std::optional<Time>& at) {
    if (at) line.field(key, days_between(from, *at));
  };
  days("days_to_limit", forecast.limit_at);
  days("days_to_limit_earliest", forecast.limit_at_earliest);
  days("days_to_limit_latest", forecast.limit_at_latest);
}

}  // namespace

std::string_view name_of(Refusal refusal) {
  switch (refusal) {
    case Refusal::bad_tag: return "bad-tag";
    case Refusal::not_finite: return "not-finite";
    case Refusal::time_out_of_range: return "time-out-of-range";
    case Refusal::no_field: return "no-field";
    case Refusal::too_long: return "too-long";
  }
  return "";
}

std::optional<Refusal> append_line(std::string& out, const StationId& station, const HalfCycle& turn) {
  LineBuilder line(out, "half_cycle");
  line.tag("line", std::to_string(turn.line));
  line.tag("outcome", name_of(turn.outcome));
  line.tag("site", station.site);
  line.tag("station", station.station);
  line.field("time_to_pressure_s", turn.time_to_pressure_s);
  if (turn.time_to_pressure_s) line.field("time_to_pressure_error_s", turn.time_to_pressure_error_s);
  line.field("pump_run_s", turn.pump_run_s);
  line.field("peak_bar", turn.peak_bar);
  line.field("residual_bar", turn.residual_bar);
  line.field("vent_s", turn.vent_s);
  line.field("level_pct", turn.level_pct);
  line.field("temp_c", turn.temp_c);
  line.field("samples", std::int64_t{turn.samples});
  line.field("largest_gap_s", turn.largest_gap_s);
  line.field("vent_floor_bar", turn.vent_floor_bar);
  line.field("soft_start_s", turn.shape.soft_start_s);
  line.field("plateau_s", turn.shape.plateau_s);
  line.field("plateau_bar", turn.shape.plateau_bar);
  line.field("steep_bar_per_s", turn.shape.steep_bar_per_s);
  line.field("run_on_s", turn.shape.run_on_s);
  line.field("target_bar", turn.settings.target_bar);
  line.field("off_schedule", turn.off_schedule);
  line.field("late", turn.arrival == Arrival::late);
  return line.end(turn.pump_start);
}

std::optional<Refusal> append_line(std::string& out, const ReservoirDay& day) {
  LineBuilder line(out, "reservoir");
  line.tag("site", day.station.site);
  line.tag("station", day.station.station);
  line.field("level_pct", day.level_pct);
  line.field("use_pct_per_day", day.use_pct_per_day);
  line.field("life_days", day.life_days);
  line.field("life_days_low", day.life_days_low);
  line.field("life_days_high", day.life_days_high);
  return line.end(day.date);
}

std::optional<Refusal> append_line(std::string& out, const WarningChange& change) {
  LineBuilder line(out, "warning");
  if (!change.causes.empty()) line.tag("cause", name_of(change.causes.front().cause));
  line.tag("change", name_of(change.change));
  line.tag("condition", name_of(change.condition));
  line.tag_line(change.line);
  line.tag("site", change.station.site);
  line.tag("station", change.station.station);
  line.tag("urgency", name_of(change.urgency));
  line.field("open", change.change != Change::cleared);
  line.field("urgency_level", static_cast<std::int64_t>(change.urgency));
  if (!change.causes.empty()) line.field("cause_weight", change.causes.front().weight);
  days_to(line, change.time, change.forecast);
  if (change.shift) {
    line.field("value", change.shift->value);
    line.field("usual", change.shift->usual);
  }
  return line.end(change.time);
}

std::optional<Refusal> append_line(std::string& out, const ForecastDay& day) {
  LineBuilder line(out, "forecast");
  line.tag("condition", name_of(day.condition));
  line.tag_line(day.line);
  line.tag("site", day.station.site);
  line.tag("station", day.station.station);
  line.field("in_sight", day.forecast.limit_at.has_value());
  days_to(line, day.date, day.forecast);
  return line.end(day.date);
}

std::optional<Refusal> append_line(std::string& out, const FaultCount& faults) {
  LineBuilder line(out, "fault");
  line.tag("code", name_of(faults.code));
  if (faults.station) {
    line.tag("site", faults.station->site);
    line.tag("station", faults.station->station);
  }
  line.field("count", faults.count);
  return line.end(faults.received);
}

std::optional<Refusal> append_line(std::string& out, const GatewayCount& count) {
  LineBuilder line(out, "gateway");
  line.tag("event", count.event);
  line.tag("gateway", count.gateway);
  line.field("total", static_cast<std::int64_t>(count.total));
  return line.end(count.time);
}

}  // namespace driftline::metrics
