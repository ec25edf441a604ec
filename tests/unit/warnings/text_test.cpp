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

}  // namespace
}  // namespace driftline::rules
