#include "rules/warnings/text.h"

#include <array>
#include <cmath>
#include <cstdio>

#include "rules/conditions/wear_forecast.h"
#include "rules/records/names.h"
#include "rules/records/time_text.h"

namespace driftline::rules {
namespace {

struct CauseText {
  std::string_view name;
  std::string_view check;
  std::string_view bring;
};

// In the order of Cause.
constexpr std::array<CauseText, cause_count> causes{{
    {"broken line", "Walk the line from pump to last device: look for a torn hose or a puddle of grease.", "hose, fittings, grease"},
    {"slow leak", "Look for fresh grease at fittings and hoses of this line, most of all where they rub.", "fittings, hose, seals"},
    {"air in the line", "Purge at the line's end until grease comes without bubbles; see that the reservoir is not low.", "grease, catch pan"},
    {"stiff, cold grease", "Compare with the air: does it ease when it warms up? Check heating and the grease's grade.", "nothing at first"},
    {"worn pump", "All lines slow by the same factor: measure the delivery at the pump outlet.", "pump element, pressure gauge"},
    {"relief valve leaking or set low", "Watch the gauge: it hangs just under the target. Check the relief valve's seat and setting.", "relief valve, gauge"},
    {"changeover valve leaking", "See whether the resting line's gauge rises during the other's turn.", "changeover valve or its seals"},
    {"metering devices sticking", "Check the indicator pins: which devices no longer move?", "metering devices"},
    {"line restricted near the pump", "Check the shut-off, filter and first metres of the line for a kink or blockage.", "filter, hose"},
    {"vent restricted", "Check the vent valve and the return line to the reservoir: free and open?", "vent valve, hose"},
    {"pressure from outside", "Ask who greased by hand: a grease gun on the line does this.", "nothing at first"},
    {"reservoir leaking", "Look under the reservoir and at the pump's seals for grease.", "seals, grease"},
    {"level sensor stuck", "Look at the follower plate: compare it with the reading.", "level sensor"},
    {"pressure sensor off", "Vent the line and read the gauge: the sensor must show zero.", "pressure sensor, gauge"},
    {"settings changed", "Ask who changed the controller's settings, and whether on purpose.", "nothing at first"},
    {"power lost", "Check supply, fuse and emergency stop of the station.", "fuses, meter"},
    {"link lost", "Check antenna, network and the controller's modem.", "laptop, cable"},
}};

constexpr std::array<std::string_view, condition_count> condition_words{
    "slow to pressure",       "quick to pressure",     "target pressure not reached", "peak pressure shifted",
    "holds residual pressure", "vents slowly",          "reservoir low",               "reservoir empties soon",
    "grease use shifted",      "turn missed",           "station silent",              "sensor doubtful"};

constexpr std::string_view pressure_caution =
    "Caution: up to 250 bar. Relieve the line and verify zero before opening it. Isolate and lock out pump and machine. The "
    "maker's instructions and local rules come first.";
constexpr std::string_view other_caution =
    "Caution: isolate and lock out before you work on it. A reservoir can be under spring load. The maker's instructions and "
    "local rules come first.";

std::string number(double value) {
  char text[32];
  const double size = std::abs(value);
  std::snprintf(text, sizeof text, size >= 100 ? "%.0f" : size >= 10 ? "%.1f" : "%.2f", value);
  return text;
}

struct FigureText {
  std::string_view name;
  std::string_view words;
  std::string_view unit;
};
constexpr std::array<FigureText, 10> figures{{{"time_to_pressure_s", "Time to pressure", "s"},
                                             {"vent_s", "Vent time", "s"},
                                             {"residual_bar", "Residual pressure", "bar"},
                                             {"peak_bar", "Peak pressure", "bar"},
                                             {"level_pct", "Level", "%"},
                                             {"use_pct_per_day", "Use", "% a day"},
                                             {"life_days", "Reservoir life", "days"},
                                             {"use_share_of_charges", "Grease used for one dispensed", ""},
                                             {"use_pct_per_turn", "Use", "% a turn"},
                                             {"hours_since_turn", "Since the last turn", "h"}}};

std::string day_text(Time time) { return rfc3339(time).substr(0, 16) + "Z"; }

std::string what_changed(const Finding& f) {
  std::string reason = f.reason;
  if (!reason.empty() && reason[0] >= 'a' && reason[0] <= 'z') reason[0] = static_cast<char>(reason[0] - 'a' + 'A');
  std::string text = reason.empty() ? std::string{} : reason + ".";
  if (!f.shift) return text;
  const FigureShift& s = *f.shift;
  for (const FigureText& figure : figures) {
    if (figure.name != s.figure) continue;
    text.append(" ").append(figure.words).append(" ").append(number(s.value));
    if (!figure.unit.empty()) text.append(" ").append(figure.unit);
    if (s.usual) {
      text += ", usual " + number(*s.usual);
      if (*s.usual > 0 && s.value > 0 && figure.unit != "bar") {
        const double percent = 100 * (s.value / *s.usual - 1);
        text.append(percent >= 0 ? " (+" : " (-").append(number(std::abs(percent))).append(" %)");
      }
    }
    if (s.limit) text += ", limit " + number(*s.limit);
    if (s.since) text += ", since " + day_text(*s.since);
    text += ".";
  }
  return text;
}

// People plan in days; tenths count only when little time is left.
std::string days_number(double days) {
  char text[32];
  std::snprintf(text, sizeof text, days < 3 ? "%.1f" : "%.0f", days);
  return text;
}

std::string days_text(Time from, Time to) {
  const double days = days_between(from, to);
  if (days < 0.5) return "less than half a day";
  return days > horizon_days - 0.5 ? "more than " + days_number(horizon_days) + " days" : days_number(days) + " days";
}

// "9 to 12 days", "half a day or less to 3 days", "90 to more than 120 days"; one figure where both ends round to it.
std::string days_text(Time from, Time earliest, Time latest) {
  const std::string first = days_text(from, earliest);
  const std::string last = days_text(from, latest);
  if (first == last) return first;
  if (days_between(from, earliest) < 0.5) return "half a day or less to " + last;
  return days_number(days_between(from, earliest)) + " to " + last;
}

bool is_about_the_reservoir(Condition condition) {
  return condition == Condition::reservoir_low || condition == Condition::short_reservoir_life ||
         condition == Condition::grease_use_shift;
}

std::string how_long(const Finding& f) {
  switch (f.condition) {
    case Condition::pressure_not_reached: return "The line is not served now.";
    case Condition::quick_to_pressure: return "Bearings of this line may go short of grease.";
    case Condition::missed_turn: return f.line ? "This line is not greased meanwhile." : "Nothing is greased meanwhile.";
    case Condition::station_silent: return "What it does is not known meanwhile.";
    case Condition::slow_vent:
    case Condition::peak_shift:
    case Condition::grease_use_shift:
    case Condition::doubtful_sensor:
      if (!f.forecast.limit_at) return {};
      break;
    case Condition::slow_to_pressure:
    case Condition::residual_pressure:
    case Condition::reservoir_low:
    case Condition::short_reservoir_life:
      if (!f.forecast.limit_at) return "No limit within sight.";
      break;
  }
  const std::string limit = f.condition == Condition::residual_pressure || f.condition == Condition::slow_vent ? "Residual limit"
                            : f.condition == Condition::slow_to_pressure ? "Pump limit"
                            : is_about_the_reservoir(f.condition)        ? "Empty mark"
                                                                         : "Limit";
  std::string text = limit + " expected in " + days_text(f.time, *f.forecast.limit_at);
  if (f.forecast.limit_at_earliest && f.forecast.limit_at_latest)
    text += " (" + days_text(f.time, *f.forecast.limit_at_earliest, *f.forecast.limit_at_latest) + ")";
  return text + ".";
}

std::string likeliest(const Finding& f) {
  if (f.causes.empty() && f.condition == Condition::station_silent)
    return "First check: the station's faults, here and not on the spot; each says what is wrong with a message and what would be "
           "right. Often the controller's clock is not set. Bring: nothing at first.";
  if (f.causes.empty())
    return is_about_the_reservoir(f.condition) ? "First check: the level in the reservoir. Bring: grease of the kind on the station's plate."
                                               : std::string{};
  const CauseText& first = causes[static_cast<std::size_t>(f.causes[0].cause)];
  std::string text = "Likeliest: " + std::string(first.name) + " (" + std::to_string(std::lround(100 * f.causes[0].weight)) + " %)";
  if (f.causes.size() > 1 && f.causes[1].weight >= 0.15) text += ", or " + std::string(causes[static_cast<std::size_t>(f.causes[1].cause)].name);
  return text + ". First check: " + std::string(first.check) + " Bring: " + std::string(first.bring) + ".";
}

std::string_view urgency_words(Urgency urgency) {
  switch (urgency) {
    case Urgency::act: return "ACT";
    case Urgency::plan: return "Plan";
    case Urgency::notice: return "Note";
  }
  return "Note";
}

bool opens_a_line(Condition condition) {
  switch (condition) {
    case Condition::slow_to_pressure:
    case Condition::quick_to_pressure:
    case Condition::pressure_not_reached:
    case Condition::peak_shift:
    case Condition::residual_pressure:
    case Condition::slow_vent:
    case Condition::doubtful_sensor:
    case Condition::missed_turn: return true;
    case Condition::reservoir_low:
    case Condition::short_reservoir_life:
    case Condition::grease_use_shift:
    case Condition::station_silent: return false;
  }
  return true;
}
}  // namespace

std::string subject_of(const StationId& station, const Finding& finding, Change change) {
  const std::string state(change == Change::cleared ? "Over" : urgency_words(finding.urgency));
  const std::string where = finding.line ? " line " + std::to_string(*finding.line) : std::string{};
  const std::string what = ": " + std::string(condition_words[static_cast<std::size_t>(finding.condition)]);
  const std::size_t taken = state.size() + 1 + where.size() + what.size();
  std::string name = station.station;
  if (taken + name.size() > subject_length_max) name.resize(subject_length_max > taken ? subject_length_max - taken : 0);
  return state + " " + name + where + what;
}

std::string text_of(const StationId& station, const Finding& finding, Change change, int alike) {
  std::string text = subject_of(station, finding, change);
  const auto add = [&](const std::string& part) {
    if (!part.empty()) text.append(text.find('\n') == std::string::npos ? "\n" : " ").append(part);
  };
  add(what_changed(finding));
  if (change == Change::cleared) return text;
  add(how_long(finding));
  // Reservoirs empty each for itself; what a site does at once is cold, power or link.
  if (alike > 0 && !is_about_the_reservoir(finding.condition)) add(std::to_string(alike) + (alike == 1 ? " other station" : " other stations") + " of " + station.site + " alike just now.");
  add(likeliest(finding));
  add(std::string(caution_of(finding.condition)));
  return text;
}

std::string_view words_of(Condition condition) { return condition_words[static_cast<std::size_t>(condition)]; }
std::string_view words_of(Cause cause) { return causes[static_cast<std::size_t>(cause)].name; }
std::string_view first_check_of(Cause cause) { return causes[static_cast<std::size_t>(cause)].check; }
std::string_view what_to_bring_for(Cause cause) { return causes[static_cast<std::size_t>(cause)].bring; }
std::string_view caution_of(Condition condition) { return opens_a_line(condition) ? pressure_caution : other_caution; }

FigureWords words_of_figure(std::string_view name) {
  for (const FigureText& figure : figures)
    if (figure.name == name) return {figure.words, figure.unit};
  return {};
}

}  // namespace driftline::rules
