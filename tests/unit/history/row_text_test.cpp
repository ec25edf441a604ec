#include "gateway/history/row_text.h"

#include <gtest/gtest.h>

#include <limits>
#include <nlohmann/json.hpp>

#include "rules/records/time_text.h"

namespace driftline {
namespace {

using nlohmann::ordered_json;

template <class... Parts>
std::string row(const Parts&... parts) {
  std::string out;
  append_row(out, parts...);
  return out;
}

ordered_json parsed(const std::string& line) {
  EXPECT_EQ(line.find('\n'), line.size() - 1);
  return ordered_json::parse(line);
}

std::string keys(const ordered_json& object) {
  std::string out;
  for (const auto& [key, value] : object.items()) out += key + " ";
  return out;
}

const StationId station{"northyard", "ps-01"};
const Time noon = *parse_rfc3339("2026-03-01T12:00:00.005Z");

TEST(RowText, a_half_cycle_is_written_as_promised) {
  // Whoever compares replays would compare something else.
  HalfCycle turn;
  turn.line = 2;
  turn.pump_start = noon;
  turn.pump_stop = later_by_s(noon, 212.35);
  turn.outcome = Outcome::reached;
  turn.time_to_pressure_s = 212.34567;
  turn.pump_run_s = 212.35;
  turn.peak_bar = 100000.0;
  turn.residual_bar = -0.001;
  turn.vent_s = std::numeric_limits<double>::quiet_NaN();
  turn.level_pct = 55.555;
  turn.samples = 213;
  turn.largest_gap_s = 1.0;
  EXPECT_EQ(row(station, turn),
            R"({"site":"northyard","station":"ps-01","line":2,"pump_start":"2026-03-01T12:00:00.005Z",)"
            R"("pump_stop":"2026-03-01T12:03:32.355Z","outcome":"reached","time_to_pressure_s":212.346,"pump_run_s":212.35,)"
            R"("peak_bar":100000,"residual_bar":0,"vent_s":null,"level_pct":55.56,"temp_c":null,"samples":213,"largest_gap_s":1})"
            "\n");
  EXPECT_EQ(keys(parsed(row(station, HalfCycle{}))),
            "site station line pump_start pump_stop outcome time_to_pressure_s pump_run_s peak_bar residual_bar vent_s level_pct "
            "temp_c samples largest_gap_s ");
}

TEST(RowText, a_warning_s_weights_sum_to_one_as_printed) {
  // A reader that checks the sum would refuse the row.
  WarningChange change;
  change.time = noon;
  change.station = station;
  change.causes = {{Cause::slow_leak, 1.0 / 3}, {Cause::pump_worn, 1.0 / 3}, {Cause::air_in_line, 1.0 / 3}};
  change.text = "Line 1 \"slow\"\n\x80\xC3\xA4";
  change.forecast.limit_at = noon;
  change.evidence = {{"vent_s", 21.4567, 14.0, noon, "the vent time is 21.5 s, usual 14.0"}, {"", {}, {}, {}, "it came gradually"}};
  const auto json = parsed(row(change));
  EXPECT_EQ(keys(json), "time site station line condition urgency change causes limit_at limit_at_earliest limit_at_latest text evidence ");
  EXPECT_TRUE(json["line"].is_null());
  EXPECT_EQ(json["causes"].dump(),
            R"([{"cause":"slow-leak","weight":0.334},{"cause":"pump-worn","weight":0.333},{"cause":"air-in-line","weight":0.333}])");
  EXPECT_EQ(json["limit_at"], "2026-03-01T12:00:00.005Z");
  EXPECT_TRUE(json["limit_at_latest"].is_null());
  EXPECT_EQ(json["evidence"].dump(),
            R"([{"figure":"vent_s","value":21.457,"usual":14,"since":"2026-03-01T12:00:00.005Z","text":"the vent time is 21.5 s, usual 14.0"},)"
            R"({"figure":null,"value":null,"usual":null,"since":null,"text":"it came gradually"}])");
  EXPECT_EQ(json["text"], "Line 1 \"slow\"\n\xEF\xBF\xBD\xC3\xA4");
}

TEST(RowText, weights_of_any_size_sum_to_one_and_keep_their_order) {
  // Rounding would make the second cause look likelier than the first.
  for (std::size_t n = 1; n <= cause_count; ++n) {
    WarningChange change;
    for (std::size_t i = 0; i < n; ++i) change.causes.push_back({static_cast<Cause>(i), 1.0 / static_cast<double>(i + n)});
    int sum = 0;
    int before = 1000;
    const auto json = parsed(row(change));
    for (const auto& cause : json["causes"]) {
      const int share = static_cast<int>(std::lround(cause["weight"].get<double>() * 1000));
      EXPECT_LE(share, before);
      sum += share;
      before = share;
    }
    EXPECT_EQ(sum, 1000) << n;
  }
  WarningChange none;
  EXPECT_EQ(parsed(row(none))["causes"].dump(), "[]");
  none.causes = {{Cause::slow_leak, 0}, {Cause::pump_worn, 0}};
  EXPECT_EQ(parsed(row(none))["causes"][1]["weight"], 0.5);
}

TEST(RowText, a_reservoir_s_day_and_a_forecast_s_day_stand_as_dates) {
  // The day would be read as a moment in some time zone.
  ReservoirDay day;
  day.date = *parse_rfc3339("2026-03-01T00:00:00Z");
  day.station = station;
  day.use_pct_per_day = 0.123456;
  EXPECT_EQ(row(day),
            R"({"date":"2026-03-01","site":"northyard","station":"ps-01","level_pct":null,"use_pct_per_day":0.1235,)"
            R"("life_days":null,"life_days_low":null,"life_days_high":null})"
            "\n");
  ForecastDay forecast;
  forecast.date = day.date;
  forecast.station = station;
  forecast.line = 1;
  forecast.condition = Condition::residual_pressure;
  forecast.forecast.limit_at_latest = time_from_ms(std::numeric_limits<std::int64_t>::max());
  EXPECT_EQ(row(forecast),
            R"({"date":"2026-03-01","site":"northyard","station":"ps-01","line":1,"condition":"residual-pressure",)"
            R"("limit_at":null,"limit_at_earliest":null,"limit_at_latest":null})"
            "\n");
}

TEST(RowText, a_fault_names_its_message_and_what_would_be_right) {
  // Nobody could find the bad message, nor mend the controller.
  const Fault fault{FaultCode::wrong_type, "/1/pressure_bar/0", "\"12,4\" is text", "a number"};
  const std::optional<StationId> unknown;
  EXPECT_EQ(row(noon, "grease/a/b\x01", unknown, fault),
            R"({"received":"2026-03-01T12:00:00.005Z","topic":"grease/a/b\u0001","site":null,"station":null,"code":"wrong-type",)"
            R"("where":"/1/pressure_bar/0","why":"\"12,4\" is text","remedy":"a number"})"
            "\n");
  EXPECT_EQ(parsed(row(noon, "t", std::optional(station), fault))["station"], "ps-01");
}

TEST(RowText, times_are_written_as_everywhere_else) {
  // Rows could not be matched with messages and pages.
  for (const std::int64_t ms : {0L, -1L, -86'400'000L, 951'782'399'999L, 253'402'300'799'999L, -62'167'219'200'000L}) {
    WarningChange change;
    change.time = time_from_ms(ms);
    EXPECT_EQ(parsed(row(change))["time"], rfc3339(change.time));
  }
}

}  // namespace
}  // namespace driftline
