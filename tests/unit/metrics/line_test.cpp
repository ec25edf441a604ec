#include "gateway/metrics/line.h"

#include <gtest/gtest.h>

#include <cstdlib>
#include <fstream>
#include <limits>

#include "gateway/metrics/limits.h"
#include "tests/unit/history/examples.h"

namespace driftline::metrics {
namespace {

using history::fault_row;
using history::forecast_day;
using history::half_cycle_row;
using history::reservoir_day;
using history::station_id;
using history::warning_change;

constexpr const char* golden_path = DRIFTLINE_SOURCE_DIR "/tests/unit/metrics/lines.golden.txt";

std::string every_kind_of_line() {
  std::string out;
  const auto add = [&](const std::optional<Refusal>& refusal) { EXPECT_FALSE(refusal.has_value()); };
  for (int number = 0; number < 4; ++number) {
    add(append_line(out, half_cycle_row(number).station, half_cycle_row(number).half_cycle));
    add(append_line(out, warning_change(number, static_cast<Change>(number % 3))));
    add(append_line(out, reservoir_day(number)));
    add(append_line(out, forecast_day(number)));
    add(append_line(out, FaultCount{fault_row(number).received, fault_row(number).station,
                                    fault_row(number).fault.code, number + 1}));
  }
  add(append_line(out, station_id(9), HalfCycle{}));
  ForecastDay nothing_in_sight = forecast_day(0);
  nothing_in_sight.line.reset();
  nothing_in_sight.forecast = {};
  add(append_line(out, nothing_in_sight));
  add(append_line(out, GatewayCount{time_from_ms(1'772'344'800'000), "north-1", "journal-torn-end", 3}));
  return out;
}

// Dashboards of others hang on these bytes.
TEST(MetricsLine, the_golden_bytes_stand) {
  const std::string lines = every_kind_of_line();
  if (std::getenv("DRIFTLINE_UPDATE") != nullptr) {
    ASSERT_EQ(std::getenv("CI"), nullptr) << "expected files are rewritten by people only";
    std::ofstream(golden_path, std::ios::binary) << lines;
  }
  std::ifstream stream(golden_path, std::ios::binary);
  const std::string golden{std::istreambuf_iterator<char>(stream), {}};
  EXPECT_EQ(lines, golden);
}

template <typename Row>
void expect_refused(Refusal why, const Row& row) {
  std::string out = "before\n";
  EXPECT_EQ(append_line(out, row), why);
  EXPECT_EQ(out, "before\n");
}

// A tag that ends in a backslash, holds a space, a comma, a newline or nothing tears its line or is stored under another
// name (influxdb issue 5407).
TEST(MetricsLine, a_tag_outside_the_allow_list_is_refused) {
  for (const std::string& name : {std::string(), std::string("a b"), std::string("a,b"), std::string("a=b"),
                                  std::string("a\\"), std::string("a\nb"), std::string("\xC3\xA4"),
                                  std::string("a\0b", 3), std::string("\"a\""), std::string(65, 'a')}) {
    ReservoirDay day = reservoir_day(1);
    day.station.station = name;
    expect_refused(Refusal::bad_tag, day);
    day.station = {name, "ps"};
    expect_refused(Refusal::bad_tag, day);
  }
  ReservoirDay day = reservoir_day(1);
  day.station.station = std::string(64, 'a');
  std::string out;
  EXPECT_EQ(append_line(out, day), std::nullopt);
}

// NaN is refused by servers, and one such field costs the whole row there: here it has a name and a count.
TEST(MetricsLine, a_number_that_is_not_finite_is_refused) {
  for (const double number : {std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::infinity(),
                              -std::numeric_limits<double>::infinity()}) {
    ReservoirDay day = reservoir_day(1);
    day.life_days = number;
    expect_refused(Refusal::not_finite, day);
  }
}

// A time beyond a server's 64 bits of nanoseconds would wrap round to another year.
TEST(MetricsLine, a_time_that_a_server_cannot_hold_is_refused) {
  for (const std::int64_t ms : {time_ms_min - 1, time_ms_max + 1}) {
    ReservoirDay day = reservoir_day(1);
    day.date = time_from_ms(ms);
    expect_refused(Refusal::time_out_of_range, day);
  }
}

// A line without a field is an error that fails its whole batch.
TEST(MetricsLine, a_row_that_says_nothing_is_refused) {
  ReservoirDay day;
  day.station = station_id(1);
  expect_refused(Refusal::no_field, day);
}

}  // namespace
}  // namespace driftline::metrics
