#include "gateway/app/lately.h"

#include <gtest/gtest.h>

#include "rules/records/time_text.h"
#include "tests/support/temp_folder.h"

namespace driftline {
namespace {

class Lately : public ::testing::Test {
 protected:
  Lately() { journal_ = std::move(journal::Journal::open({.directory = folder_.file("journal")}).value()); }
  void sample(const std::string& station, Time time, double bar) {
    const std::string payload = R"({"time":")" + rfc3339(time) + R"(","pump":false,"pressure_bar":[)" + std::to_string(bar) + "]}";
    ASSERT_TRUE(journal_->append(time, "grease/northyard/" + station + "/telemetry", payload));
  }
  std::vector<double> bars(const std::string& station) const {
    std::vector<double> all;
    for (const Sample& s : samples_lately(*journal_, {"grease", {}}, {"northyard", station}, now_, std::chrono::minutes{10})) all.push_back(s.pressure.of_line(1).value());
    return all;
  }
  testing::TempFolder folder_;
  std::unique_ptr<journal::Journal> journal_;
  const Time now_ = time_from_ms(1'772'517'600'000);
};

// The chart of a station would begin empty, or with what came hours ago, or with another station's pressure.
TEST_F(Lately, gives_the_last_minutes_of_one_station_in_order) {
  sample("ps-01", now_ - std::chrono::minutes{20}, 1);
  for (int i = 0; i < 9'000; ++i) sample("ps-02", now_ - std::chrono::minutes{9}, 50);  // further back than the first look goes
  sample("ps-01", now_ - std::chrono::minutes{8}, 3);
  sample("ps-01", now_ - std::chrono::minutes{9}, 2);  // late
  sample("ps-01", now_ - std::chrono::minutes{8}, 3);  // doubled
  for (int i = 0; i < 9'000; ++i) sample("ps-02", now_ - std::chrono::seconds{60}, 60);
  sample("ps-01", now_ - std::chrono::seconds{10}, 4);
  EXPECT_EQ(bars("ps-01"), (std::vector<double>{2, 3, 4}));
  EXPECT_EQ(bars("ps-02").size(), 2U);
  EXPECT_TRUE(bars("ps-03").empty());
}

// A station whose stored day comes at once would fill the chart with a whole day.
TEST_F(Lately, gives_no_more_than_the_minutes_before_the_newest_sample) {
  for (int hour = 0; hour < 24; ++hour) sample("ps-01", now_, hour);
  const std::string batch = R"([{"time":")" + rfc3339(now_ - std::chrono::hours{20}) + R"(","pressure_bar":[7]},{"time":")" +
                            rfc3339(now_ - std::chrono::hours{10}) + R"(","pressure_bar":[8]}])";
  ASSERT_TRUE(journal_->append(now_, "grease/northyard/ps-09/telemetry", batch));
  EXPECT_EQ(bars("ps-09"), std::vector<double>{8});
}

}  // namespace
}  // namespace driftline
