// fleet_history --data DIR --stations N [--days D] [--turns T] [--end MS]: a history of an invented plant, written straight
// through the History API, for tests and measurements of the page. T turns a day and line. Nothing of it is random between
// runs: equal options give equal rows. The last turn ends shortly before END (now, unless given).
//
// What the first stations have: 0 a slow leak on line 2 with a plan, 1 target not reached with an act, 2 silence, 3 a low
// reservoir, 4 a slow vent as a note, 5 a warning that has ended; the same again every 40 stations. The rest is well.
#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <cstdlib>
#include <iostream>
#include <string>
#include <vector>

#include "gateway/history/history.h"
#include "rules/warnings/text.h"

namespace {

using namespace driftline;

constexpr int of_a_kind = 40;  // stations after which the troubles come again
enum Trouble { slow_leak, not_reached, silent, low, slow_vent, ended, none };

struct Options {
  std::string data;
  int stations = 3;
  int days = 30;
  int turns = 30;
  std::int64_t end_ms = 0;
};

// Deterministic scatter: a hash to about a normal deviate.
double scatter(std::uint64_t a, std::uint64_t b) {
  double sum = 0;
  std::uint64_t x = a * 0x9E3779B97F4A7C15ULL + b * 0xC2B2AE3D27D4EB4FULL + 1;
  for (int i = 0; i < 4; ++i) {
    x ^= x >> 30;
    x *= 0xBF58476D1CE4E5B9ULL;
    x ^= x >> 27;
    sum += static_cast<double>(x >> 11) / 9007199254740992.0 - 0.5;
  }
  return sum * 1.7;
}

Trouble trouble_of(int station) {
  return station % of_a_kind < none ? static_cast<Trouble>(station % of_a_kind) : none;
}

StationId id_of(int station) {
  const char* const sites[] = {"northyard", "southyard", "press-hall", "quarry", "kiln-2", "port"};
  std::string number = std::to_string(station + 1);
  if (number.size() < 2) number.insert(0, "0");
  return {sites[(station / 3) % 6], "ps-" + number};
}

double temperature(int station, double day) {
  return 9 + 6 * std::sin(6.2832 * day) + 4 * std::sin(day / 5) + station % 7;
}

class Invented {
 public:
  explicit Invented(const Options& options) : options_(options), begin_(options.end_ms - options.days * day_ms) {}

  [[nodiscard]] std::int64_t begin() const { return begin_; }

  HalfCycle turn(int station, int line, int number) const {
    const std::int64_t every = day_ms / options_.turns;
    const std::int64_t start = begin_ + number * every + (line - 1) * every / 2 + (station % 97) * every / 400;
    const double day = static_cast<double>(start - begin_) / static_cast<double>(day_ms);
    const auto key = static_cast<std::uint64_t>(station * 8 + line);
    HalfCycle t;
    t.line = line;
    t.temp_c = std::round(temperature(station, day) * 10) / 10;
    double time = usual_time(station, line, *t.temp_c) * (1 + 0.02 * scatter(key, static_cast<std::uint64_t>(number)));
    double vent = 61 - 1.4 * (*t.temp_c - 10);
    if (trouble_of(station) == slow_leak && line == 2) time *= 1 + 0.012 * std::max(0.0, day - 14);
    if (trouble_of(station) == slow_vent && line == 1) vent *= 1 + 0.03 * std::max(0.0, day - 18);
    if (trouble_of(station) == ended && line == 1 && day > 8 && day < 15) time *= 1.15;
    const bool misses = trouble_of(station) == not_reached && line == 1 && day > options_.days - 0.4;
    t.outcome = misses ? Outcome::not_reached : Outcome::reached;
    t.pump_run_s = misses ? 150 : time;
    if (!misses) t.time_to_pressure_s = time;
    t.time_to_pressure_error_s = 0.12;
    t.peak_bar = misses ? 131 : 183 + 0.8 * scatter(key + 1, static_cast<std::uint64_t>(number));
    t.residual_bar = 4.2 + 0.5 * scatter(key + 2, static_cast<std::uint64_t>(number));
    t.vent_s = vent * (1 + 0.04 * scatter(key + 3, static_cast<std::uint64_t>(number)));
    t.level_pct = level(station, day);
    t.pump_start = time_from_ms(start);
    t.pump_stop = later_by_s(t.pump_start, *t.pump_run_s);
    t.samples = static_cast<int>(*t.pump_run_s * 2);
    t.largest_gap_s = 0.5;
    t.settings = {2880, 150, 180, 20, 2};
    t.vent_floor_bar = 2.1;
    shape(t, day > options_.days - 20 && (number + station) % 2 == 0);
    return t;
  }

  static double usual_time(int station, int line, double temp_c) {
    return (84 + station % 11 + 3 * line) * std::exp(-0.012 * (temp_c - 10));
  }

  // Falls by 2.4 % a day, refilled at 20 %; those with a low reservoir were not.
  [[nodiscard]] double level(int station, double day) const {
    const double used = 2.4 * day;
    if (trouble_of(station) == low) return std::max(6.0, 79 - 2.4 * day);
    const double from = 50 + station % 47;
    double left = from - used;
    while (left < 20) left += 75;
    return std::round(left * 10) / 10;
  }

 private:
  static constexpr std::int64_t day_ms = 86'400'000;

  static void shape(HalfCycle& t, bool with_curve) {
    const double end = *t.pump_run_s;
    t.shape.soft_start_s = 0.03 * end;
    t.shape.plateau_start_s = 0.36 * end;
    t.shape.plateau_s = 0.42 * end;
    t.shape.plateau_bar = 59;
    t.shape.steep_bar_per_s = 6.2;
    t.shape.run_on_s = 0.02 * end;
    if (!with_curve) return;
    constexpr double share[] = {0, .02, .06, .1, .16, .23, .34, .45, .57, .68, .75, .8, .85, .89, .94, .97, 1};
    constexpr double rise[] = {0, .02, .055, .1, .15, .21, .28, .3, .31, .32, .34, .42, .56, .72, .86, .95, 1};
    for (int i = 0; i < 17; ++i)
      t.shape.curve.push_back({share[i] * end, *t.residual_bar + rise[i] * (*t.peak_bar - *t.residual_bar)});
  }

  const Options options_;
  const std::int64_t begin_;
};

struct Said {
  Condition condition;
  std::optional<int> line;
  Urgency urgency;
  double days_ago;
  std::vector<WeightedCause> causes;
  std::string reason;
};

class Writing {
 public:
  Writing(const Options& options, history::History& history) : options_(options), invented_(options), history_(history) {}

  bool run() {
    for (int day = 0; day < options_.days; ++day) {
      for (int n = day * options_.turns; n < (day + 1) * options_.turns; ++n)
        for (int station = 0; station < options_.stations; ++station) {
          if (trouble_of(station) == silent && day == options_.days - 1) continue;
          for (int line = 1; line <= 2; ++line) put_turn(station, invented_.turn(station, line, n), day);
          if (batch_.half_cycles.size() >= 4000 && !commit()) return false;
        }
      for (int station = 0; station < options_.stations; ++station) reservoir(station, day);
      if (!commit()) return false;
    }
    for (int station = 0; station < options_.stations; ++station) warnings(station);
    return commit();
  }

 private:
  // The first two days are those in which the line was learnt.
  void put_turn(int station, HalfCycle turn, int day) {
    TurnUsual usual;
    if (day >= 2) {
      const double expected = Invented::usual_time(station, turn.line, *turn.temp_c);
      usual.time_to_pressure_s = {round_3(expected), round_3(0.022 * expected)};
      usual.peak_bar = {183, 0.8};
      usual.residual_bar = {4.2, 0.5};
      usual.vent_s = {round_3(61 - 1.4 * (*turn.temp_c - 10)), 2.6};
    }
    batch_.half_cycles.push_back({id_of(station), std::move(turn), usual});
  }
  static double round_3(double value) { return std::round(value * 1000) / 1000; }

  void reservoir(int station, int day) {
    const double level = invented_.level(station, day + 1);
    const double life = std::max(0.0, (level - 5) / 2.4);
    const std::int64_t midnight = (invented_.begin() / 86'400'000 + day) * 86'400'000;
    batch_.reservoir_days.push_back({time_from_ms(midnight), id_of(station), level, 2.4, life, life * 0.88, life * 1.15});
  }

  void raise(int station, const Said& said, Forecast forecast, std::optional<FigureShift> shift) {
    Finding f;
    f.condition = said.condition;
    f.line = said.line;
    f.urgency = said.urgency;
    f.holds = true;
    f.time = later_by_days(time_from_ms(options_.end_ms), -said.days_ago);
    f.causes = said.causes;
    f.forecast = forecast;
    f.shift = std::move(shift);
    f.reason = said.reason;
    if (said.condition == Condition::slow_to_pressure)
      f.evidence = {{"plateau_s", 44.1, 38.2, later_by_days(f.time, -2), "the metering plateau is longer"},
                    {"", {}, {}, {}, "the other line did not move with it"}};
    put(station, f, Change::raised);
  }

  void put(int station, const Finding& f, Change change) {
    WarningChange row;
    row.time = f.time;
    row.station = id_of(station);
    row.line = f.line;
    row.condition = f.condition;
    row.urgency = f.urgency;
    row.change = change;
    row.causes = f.causes;
    row.evidence = f.evidence;
    row.forecast = f.forecast;
    row.shift = f.shift;
    row.text = rules::text_of(row.station, f, change, 0);
    batch_.warnings.push_back(std::move(row));
  }

  [[nodiscard]] Forecast within(double days) const {
    const Time end = time_from_ms(options_.end_ms);
    return {later_by_days(end, days), later_by_days(end, days * 0.6), later_by_days(end, days * 1.5)};
  }

  void forecasts(int station) {
    for (int day = std::max(0, options_.days - 6); day < options_.days; ++day)
      batch_.forecast_days.push_back({time_from_ms((invented_.begin() / 86'400'000 + day) * 86'400'000), id_of(station), 2,
                                      Condition::slow_to_pressure, within(9.5 + 0.5 * (options_.days - day))});
  }

  void warnings(int station) {
    const double days = options_.days;
    switch (trouble_of(station)) {
      case slow_leak:
        forecasts(station);
        return raise(station, {Condition::slow_to_pressure, 2, Urgency::plan, std::min(7.0, days), {{Cause::slow_leak, 0.7}, {Cause::air_in_line, 0.2}, {Cause::pump_worn, 0.1}},
                               "the time to pressure has left its baseline upwards"},
                     within(9.5), FigureShift{"time_to_pressure_s", 98.8, 87.7, 2.1, 150, later_by_days(time_from_ms(options_.end_ms), -9), 6});
      case not_reached:
        return raise(station, {Condition::pressure_not_reached, 1, Urgency::act, 0.3, {{Cause::line_broken, 0.8}, {Cause::slow_leak, 0.2}},
                               "the pump ran to its limit and the target pressure was not met"},
                     {}, FigureShift{"peak_bar", 131, 183, 0.8, 180, std::nullopt, 2});
      case silent:
        return raise(station, {Condition::station_silent, std::nullopt, Urgency::notice, 0.6, {{Cause::link_lost, 0.6}, {Cause::power_lost, 0.4}}, "nothing is heard of the station"}, {}, {});
      case low:
        return raise(station, {Condition::reservoir_low, std::nullopt, Urgency::plan, 1.5, {}, "the level is under its mark"}, within(1.2),
                     FigureShift{"level_pct", 7, std::nullopt, std::nullopt, 15, std::nullopt, 0});
      case slow_vent:
        return raise(station, {Condition::slow_vent, 1, Urgency::notice, 3, {{Cause::vent_restricted, 0.75}, {Cause::stiff_grease, 0.25}}, "the vent time has left its baseline upwards"},
                     {}, FigureShift{"vent_s", 74, 60.5, 2.6, std::nullopt, std::nullopt, 8});
      case ended: {
        Finding f;
        f.line = 1;
        f.causes = {{Cause::air_in_line, 1.0}};
        f.reason = "the time to pressure has left its baseline upwards";
        f.time = later_by_days(time_from_ms(options_.end_ms), -std::min(20.0, days));
        put(station, f, Change::raised);
        f.time = later_by_days(time_from_ms(options_.end_ms), -std::min(15.0, days / 2));
        f.reason = "its figures are back";
        return put(station, f, Change::cleared);
      }
      case none: return;
    }
  }

  bool commit() {
    batch_.resume_from = batch_.taken_to = 1;
    const auto done = history_.commit(batch_);
    batch_ = {};
    if (!done) std::cerr << "fleet_history: " << done.error().text << '\n';
    return done.has_value();
  }

  const Options options_;
  const Invented invented_;
  history::History& history_;
  history::Batch batch_;
};

bool read_options(int count, char** words, Options& options) {
  for (int i = 1; i + 1 < count; i += 2) {
    const std::string name = words[i];
    const std::string value = words[i + 1];
    if (name == "--data") options.data = value;
    else if (name == "--stations") options.stations = std::atoi(value.c_str());
    else if (name == "--days") options.days = std::atoi(value.c_str());
    else if (name == "--turns") options.turns = std::atoi(value.c_str());
    else if (name == "--end") options.end_ms = std::atoll(value.c_str());
    else return false;
  }
  return count % 2 == 1 && !options.data.empty() && options.stations > 0 && options.days > 0 && options.turns > 0;
}

}  // namespace

int main(int count, char** words) {
  Options options;
  if (!read_options(count, words, options)) {
    std::cerr << "fleet_history --data DIR --stations N [--days D] [--turns T] [--end MS]\n";
    return 2;
  }
  if (options.end_ms == 0)
    options.end_ms = std::chrono::duration_cast<std::chrono::milliseconds>(std::chrono::system_clock::now().time_since_epoch()).count();
  history::HistorySettings settings;
  settings.file = options.data + "/history.db";
  auto history = history::History::open(settings);
  if (!history) {
    std::cerr << "fleet_history: " << history.error() << '\n';
    return 1;
  }
  return Writing(options, **history).run() ? 0 : 1;
}
