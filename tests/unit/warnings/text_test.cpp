#include "rules/warnings/text.h"

#include <gtest/gtest.h>

namespace driftline::rules {
namespace {

Finding leak() {
  Finding f;
  f.condition = Condition::pressure_not_reached;
  f.line = 2;
  f.time = time_from_ms(1772323200000);
  f.holds = true;
  f.urgency = Urgency::act;
  f.causes = {{Cause::line_broken, 0.8}, {Cause::slow_leak, 0.2}};
  f.reason = "the target pressure was not met within the pump limit";
  return f;
}

// If this fails the subject is cut on a telephone's lock screen.
TEST(WarningText, subjects_fit_into_sixty_characters) {
  for (std::size_t c = 0; c < condition_count; ++c) {
    Finding f = leak();
    f.condition = static_cast<Condition>(c);
    const std::string subject = subject_of({"northyard", std::string(64, 'x')}, f, Change::raised);
    EXPECT_LE(subject.size(), subject_length_max) << subject;
  }
}

// If this fails a technician may open a line under pressure without having been told.
TEST(WarningText, says_machine_line_cause_check_and_caution) {
  const std::string text = text_of({"northyard", "ps-01"}, leak(), Change::raised, 0);
  for (const char* part : {"ps-01", "line 2", "broken line", "First check:", "Bring:", "verify zero", "lock out"})
    EXPECT_NE(text.find(part), std::string::npos) << part << " missing in: " << text;
}

// If this fails people read of one line that the whole station is not greased, or the other way round.
TEST(WarningText, a_missed_turn_is_of_the_line_or_of_all) {
  Finding f = leak();
  f.condition = Condition::missed_turn;
  EXPECT_NE(text_of({"northyard", "ps-01"}, f, Change::raised, 0).find("This line is not greased"), std::string::npos);
  f.line.reset();
  EXPECT_NE(text_of({"northyard", "ps-01"}, f, Change::raised, 0).find("Nothing is greased"), std::string::npos);
}

std::string forecast_text(double at, double earliest, double latest) {
  Finding f = leak();
  f.condition = Condition::slow_to_pressure;
  f.forecast = {later_by_days(f.time, at), later_by_days(f.time, earliest), later_by_days(f.time, latest)};
  const std::string text = text_of({"northyard", "ps-01"}, f, Change::raised, 0);
  const auto from = text.find("Pump limit");
  return text.substr(from, text.find(". ", from) - from);
}

// If this fails a technician reads a forecast twice and still does not know how long there is.
TEST(WarningText, how_long_there_is_reads_as_people_say_it) {
  EXPECT_EQ(forecast_text(10, 9, 12), "Pump limit expected in 10 days (9 to 12 days)");
  EXPECT_EQ(forecast_text(0.2, 0.1, 0.3), "Pump limit expected in less than half a day (less than half a day)");
  EXPECT_EQ(forecast_text(1.4, 0.1, 3.2), "Pump limit expected in 1.4 days (half a day or less to 3 days)");
  EXPECT_EQ(forecast_text(100, 60, 120), "Pump limit expected in 100 days (60 to more than 120 days)");
}

// If this fails a weight pretends to a precision that it has not.
TEST(WarningText, weights_are_whole_per_cent) {
  Finding f = leak();
  f.causes = {{Cause::line_broken, 0.4797}, {Cause::slow_leak, 0.5203}};
  EXPECT_NE(text_of({"northyard", "ps-01"}, f, Change::raised, 0).find("broken line (48 %)"), std::string::npos);
}

// If this fails somebody drives out to look for power where the controller's clock is not set.
TEST(WarningText, messages_that_cannot_be_used_point_at_the_faults) {
  Finding f;
  f.condition = Condition::station_silent;
  f.holds = true;
  f.reason = "messages come, but none of them can be used";
  const std::string text = text_of({"northyard", "ps-01"}, f, Change::raised, 0);
  EXPECT_NE(text.find("the station's faults"), std::string::npos) << text;
  EXPECT_EQ(text.find("power"), std::string::npos) << text;
}

}  // namespace
}  // namespace driftline::rules
