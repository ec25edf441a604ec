// The metrics writer against real servers: what was stored is read back and compared.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "gateway/history/reader.h"
#include "gateway/metrics/writer.h"
#include "tests/integration/store/time_series_servers.h"
#include "tests/unit/history/examples.h"

namespace driftline::metrics {
namespace {

using driftline::testing::eventually;
using driftline::testing::Influx;
using driftline::testing::TempFolder;
using driftline::testing::Victoria;
using ::testing::HasSubstr;
using nlohmann::json;

class MetricsServers : public ::testing::Test {
 protected:
  MetricsServers() {
    auto opened = history::History::open({.file = folder_.file("history.db"), .cursors = {cursor_use()}});
    EXPECT_TRUE(opened.has_value()) << opened.error();
    history_ = std::move(*opened);
    settings_.poll_ms = 20;
    settings_.counters_s = 0;
  }
  void write_to(std::uint16_t port, Interface interface = Interface::write_v1) {
    settings_.url = "http://127.0.0.1:" + std::to_string(port);
    settings_.interface = interface;
    writer_ = std::make_unique<Writer>(settings_, *history_, [] { return time_from_ms(1'772'344'800'000); });
    writer_->start();
  }
  void store(int first, int last) {
    for (int number = first; number < last; ++number) ASSERT_TRUE(history_->commit(history::batch_of(number)).has_value());
  }
  // All that is stored has been dealt with.
  bool drained() {
    const auto reader = history::Reader::open(history_->file());
    return eventually([&] {
      const auto last = *(*reader)->last_ids();
      const auto marks = *(*reader)->cursor("metrics");
      return std::all_of(marks.begin(), marks.end(), [&](const history::CursorMark& mark) {
        return std::find(last.begin(), last.end(), mark) != last.end();
      });
    });
  }
  std::vector<history::Stored<history::RefusedRow>> aside() {
    return *(*history::Reader::open(history_->file()))->refused_after(0, 1'000);
  }
  bool comes_to(WriterStatus::State state) {
    return eventually([&] { return writer_->status().state == state; });
  }

  const TempFolder folder_;
  MetricsSettings settings_;
  std::unique_ptr<history::History> history_;
  std::unique_ptr<Writer> writer_;
};

int count_in(const Influx& server, const std::string& measurement, const std::string& field) {
  const json answer = json::parse(server.query("SELECT count(" + field + ") FROM " + measurement).body);
  const json& result = answer["results"][0];
  return result.contains("series") ? result["series"][0]["values"][0][1].get<int>() : 0;
}

// The answer 204 proves nothing: each figure is read back.
TEST_F(MetricsServers, influx_v1_gives_back_every_figure_that_was_written) {
  const Influx server;
  ASSERT_TRUE(server.up());
  ASSERT_EQ(server.query("CREATE DATABASE driftline").status, 200);
  store(0, 12);
  write_to(server.port());
  ASSERT_TRUE(drained());
  const json answer =
      json::parse(server.query("SELECT time_to_pressure_s, steep_bar_per_s, samples, off_schedule, line, outcome, site, station "
                               "FROM half_cycle ORDER BY time")
                      .body);
  const json& rows = answer["results"][0]["series"][0]["values"];
  ASSERT_EQ(rows.size(), 12U);
  for (int number = 0; number < 12; ++number) {
    const history::HalfCycleRow expected = history::half_cycle_row(number);
    const json& row = rows[static_cast<std::size_t>(number)];
    EXPECT_EQ(row[0].get<std::int64_t>(), ms_since_1970(expected.half_cycle.pump_start));
    EXPECT_EQ(row[1].get<double>(), *expected.half_cycle.time_to_pressure_s);
    EXPECT_EQ(row[2].get<double>(), *expected.half_cycle.shape.steep_bar_per_s);
    EXPECT_EQ(row[3].get<int>(), expected.half_cycle.samples);
    EXPECT_EQ(row[4].get<bool>(), expected.half_cycle.off_schedule);
    EXPECT_EQ(row[5].get<std::string>(), std::to_string(expected.half_cycle.line));
    EXPECT_EQ(row[7].get<std::string>(), expected.station.site);
    EXPECT_EQ(row[8].get<std::string>(), expected.station.station);
  }
  EXPECT_EQ(count_in(server, "warning", "open"), 12);
  EXPECT_EQ(count_in(server, "reservoir", "level_pct"), 12);
  EXPECT_EQ(count_in(server, "forecast", "in_sight"), 12);
  EXPECT_EQ(count_in(server, "fault", "count"), 12);
  EXPECT_TRUE(aside().empty());
}

// A server that is killed and comes back must end up with every row once.
TEST_F(MetricsServers, influx_killed_and_started_again_has_lost_nothing) {
  Influx server;
  ASSERT_TRUE(server.up());
  (void)server.query("CREATE DATABASE driftline");
  store(0, 50);
  write_to(server.port());
  ASSERT_TRUE(drained());
  server.kill();
  store(50, 120);
  ASSERT_TRUE(comes_to(WriterStatus::State::down));
  server.start();
  ASSERT_TRUE(drained());
  EXPECT_EQ(count_in(server, "half_cycle", "samples"), 120);
  EXPECT_TRUE(comes_to(WriterStatus::State::sending));
}

// 1.x writes what it can of a batch and answers 400: the rest must come through and the bad rows be kept.
TEST_F(MetricsServers, influx_refuses_rows_of_another_type_and_takes_the_others) {
  const Influx server;
  ASSERT_TRUE(server.up());
  (void)server.query("CREATE DATABASE driftline");
  // A week is a shard; in that of row 3 the level is text already.
  const auto week_of_3 = std::to_string(ms_since_1970(history::reservoir_day(3).date) + 1);
  ASSERT_EQ(driftline::testing::http_request(server.port(), "POST", "/write?db=driftline&precision=ms",
                                             "reservoir,site=x,station=y level_pct=\"full\" " + week_of_3)
                .status,
            204);
  store(0, 40);
  write_to(server.port());
  ASSERT_TRUE(drained());
  const auto refused = aside();
  EXPECT_GE(refused.size(), 1U);
  EXPECT_LE(refused.size(), 7U);
  for (const auto& [id, row] : refused) {
    EXPECT_EQ(row.feed, history::Feed::reservoir_days);
    EXPECT_EQ(row.status, 400);
    EXPECT_THAT(row.answer, HasSubstr("field type conflict"));
    EXPECT_THAT(row.sent, HasSubstr("reservoir,site="));
  }
  EXPECT_EQ(count_in(server, "reservoir", "use_pct_per_day") + static_cast<int>(refused.size()), 40);
  EXPECT_EQ(count_in(server, "half_cycle", "samples"), 40);
}

// A wrong password keeps rows, and a right one is taken up without a restart; so it is with a database not yet made.
TEST_F(MetricsServers, influx_with_passwords_takes_rows_once_the_password_is_right) {
  const Influx server(true);
  ASSERT_TRUE(server.up());
  ASSERT_EQ(server.query("CREATE USER admin WITH PASSWORD 'pw' WITH ALL PRIVILEGES").status, 200);
  settings_.user = "admin";
  settings_.password_file = folder_.write("password", "wrong\n");
  store(0, 3);
  write_to(server.port());
  ASSERT_TRUE(comes_to(WriterStatus::State::denied));
  EXPECT_THAT(writer_->status().why, HasSubstr("401"));
  folder_.write("password", "pw\n");
  ASSERT_TRUE(eventually([&] { return writer_->status().why.find("404") != std::string::npos; }));
  ASSERT_EQ(server.query("CREATE DATABASE driftline", "&u=admin&p=pw").status, 200);
  ASSERT_TRUE(drained());
  EXPECT_THAT(server.query("SELECT count(samples) FROM half_cycle", "&u=admin&p=pw").body, HasSubstr(",3]"));
  EXPECT_TRUE(aside().empty());
}

// Both interfaces of the other server: it answers 204 also to what it cannot read, so what is stored is what counts.
TEST_F(MetricsServers, victoria_gives_back_every_figure_over_both_interfaces) {
  for (const Interface interface : {Interface::write_v1, Interface::write_v2}) {
    const Victoria server;
    ASSERT_TRUE(server.up());
    auto history = history::History::open(
        {.file = folder_.file(interface == Interface::write_v1 ? "one.db" : "two.db"), .cursors = {cursor_use()}});
    writer_.reset();
    history_ = std::move(*history);
    store(0, 12);
    write_to(server.port(), interface);
    ASSERT_TRUE(drained());
    std::map<std::int64_t, double> figures;
    std::string text = server.exported("half_cycle_time_to_pressure_s");
    for (std::size_t at = 0; at < text.size();) {
      const std::size_t end = std::min(text.find('\n', at), text.size());
      const json series = json::parse(text.substr(at, end - at));
      for (std::size_t i = 0; i < series["values"].size(); ++i)
        figures[series["timestamps"][i].get<std::int64_t>()] = series["values"][i].get<double>();
      at = end + 1;
    }
    ASSERT_EQ(figures.size(), 12U);
    for (int number = 0; number < 12; ++number) {
      const HalfCycle expected = history::half_cycle_row(number).half_cycle;
      // It stores decimal mantissas: 12 digits come back, not the last bits (seen: 200.1428571428 of 200.14285714285714).
      EXPECT_NEAR(figures[ms_since_1970(expected.pump_start)], *expected.time_to_pressure_s, 1e-9);
    }
    const std::string flags = server.exported("warning_open");
    EXPECT_EQ(std::count(flags.begin(), flags.end(), '\n'), 12);
    EXPECT_THAT(flags, HasSubstr("\"values\":[1]")) << "booleans are kept as 1 and 0";
    EXPECT_TRUE(aside().empty());
  }
}

TEST_F(MetricsServers, victoria_stopped_and_started_again_has_lost_nothing) {
  Victoria server;
  ASSERT_TRUE(server.up());
  store(0, 20);
  write_to(server.port());
  ASSERT_TRUE(drained());
  server.stop();
  store(20, 45);
  ASSERT_TRUE(comes_to(WriterStatus::State::down));
  server.start();
  ASSERT_TRUE(drained());
  const std::string text = server.exported("half_cycle_samples");
  EXPECT_EQ(std::count(text.begin(), text.end(), '\n'), 45);
}

}  // namespace
}  // namespace driftline::metrics
