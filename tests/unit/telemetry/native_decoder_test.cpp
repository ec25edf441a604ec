#include <gtest/gtest.h>

#include "gateway/telemetry/decode.h"
#include "rules/records/time_text.h"

namespace driftline {
namespace {

const Time received = *parse_rfc3339("2026-03-01T06:00:00.500Z");

Decoded decode(TopicKind kind, std::string_view payload) {
  NativeDecoder decoder;
  Decoded out;
  decoder.decode(kind, payload, received, out);
  return out;
}
Decoded telemetry(std::string_view payload) { return decode(TopicKind::telemetry, payload); }

TEST(NativeTelemetry, a_full_sample_is_read_field_by_field) {
  // A field of the contract would be lost.
  const auto out = telemetry(
      R"({"time":"2026-03-01T06:00:00.310Z","seq":17,"pump":true,"line":2,"pressure_bar":[0.7,141.4,null],)"
      R"("level_pct":56,"level_low":false,"temp_c":-3.6})");
  ASSERT_EQ(out.samples.size(), 1U);
  EXPECT_TRUE(out.faults.empty());
  Sample expected;
  expected.time = *parse_rfc3339("2026-03-01T06:00:00.310Z");
  expected.seq = 17;
  expected.pump = true;
  expected.line = 2;
  expected.pressure.append(0.7);
  expected.pressure.append(141.4);
  expected.pressure.append(std::nullopt);
  expected.level_pct = 56.0;
  expected.level_low = false;
  expected.temp_c = -3.6;
  EXPECT_EQ(out.samples[0], expected);
}

TEST(NativeTelemetry, a_bad_sample_of_a_batch_faults_only_itself) {
  // One broken sample would cost a whole outage's telemetry.
  const auto out = telemetry(R"([{"time":"2026-03-01T05:59:58Z","pump":true},{"time":"n/a","pump":true,"line":99},{"time":1772344799000,"pump":false}])");
  ASSERT_EQ(out.samples.size(), 2U);
  EXPECT_EQ(out.samples[1].time, *parse_rfc3339("2026-03-01T05:59:59Z"));
  ASSERT_EQ(out.faults.size(), 1U);
  EXPECT_EQ(out.faults[0].code, FaultCode::time_unreadable);
  EXPECT_EQ(out.faults[0].where, "/1/time");
  EXPECT_EQ(out.faults[0].why, "\"n/a\" is text but no time with offset");
}

TEST(NativeTelemetry, cut_off_text_is_one_fault) {
  // A cut-off message would be half used.
  const auto out = telemetry(R"({"time":"2026-03-01T06:00:00Z","pressure_bar":[12.)");
  EXPECT_TRUE(out.samples.empty());
  ASSERT_EQ(out.faults.size(), 1U);
  EXPECT_EQ(out.faults[0].code, FaultCode::not_json);
}

}  // namespace
}  // namespace driftline
