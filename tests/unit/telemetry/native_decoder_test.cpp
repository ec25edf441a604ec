#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <ostream>

#include "gateway/telemetry/decode.h"
#include "gateway/telemetry/limits.h"
#include "rules/records/time_text.h"

namespace driftline {
namespace {

namespace limits = telemetry_limits;
using testing::HasSubstr;
using testing::IsEmpty;

const Time received = *parse_rfc3339("2026-03-01T06:00:00.500Z");

Decoded decode(TopicKind kind, std::string_view payload) {
  NativeDecoder decoder;
  Decoded out;
  decoder.decode(kind, payload, received, out);
  return out;
}
Decoded telemetry(std::string_view payload) { return decode(TopicKind::telemetry, payload); }

// A sample object with its time and `rest`.
std::string sample(std::string_view rest) { return R"({"time":"2026-03-01T06:00:00Z",)" + std::string(rest) + "}"; }

TEST(NativeTelemetry, a_full_sample_is_read_field_by_field) {
  // A field of the contract would be lost.
  const auto out = telemetry(
      R"({"time":"2026-03-01T06:00:00.310Z","seq":17,"pump":true,"line":2,"pressure_bar":[0.7,141.4,null],)"
      R"("level_pct":56,"level_low":false,"temp_c":-3.6})");
  ASSERT_EQ(out.samples.size(), 1U);
  EXPECT_THAT(out.faults, IsEmpty());
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

TEST(NativeTelemetry, what_was_decoded_before_leaves_no_trace) {
  // A field that a sample does not hold would be taken from the sample before.
  NativeDecoder decoder;
  Decoded out;
  decoder.decode(TopicKind::telemetry, "rubbish", received, out);
  decoder.decode(TopicKind::settings, R"({"lines":2})", received, out);
  decoder.decode(TopicKind::telemetry, sample(R"("pump":true,"line":1,"temp_c":4)"), received, out);
  decoder.decode(TopicKind::telemetry, sample(R"("pump":false)"), received, out);
  ASSERT_EQ(out.samples.size(), 1U);
  EXPECT_THAT(out.faults, IsEmpty());
  EXPECT_FALSE(out.settings);
  EXPECT_FALSE(out.samples[0].line || out.samples[0].temp_c);
}

TEST(NativeTelemetry, time_may_have_any_offset_or_be_milliseconds) {
  // Stations with another clock format would be refused.
  for (const char* time : {R"("2026-03-01T06:00:00Z")", R"("2026-03-01t08:00:00.000z")", R"("2026-03-01T08:00:00+02:00")",
                           R"("2026-02-28T21:30:00.0009-08:30")", "1772344800000", "1772344800000.0"}) {
    const auto out = telemetry(R"({"pump":true,"time":)" + std::string(time) + "}");
    if (time == std::string_view(R"("2026-03-01t08:00:00.000z")")) {
      ASSERT_EQ(out.samples.size(), 1U);
      EXPECT_EQ(out.samples[0].time, *parse_rfc3339("2026-03-01T08:00:00Z"));
      continue;
    }
    ASSERT_EQ(out.samples.size(), 1U) << time;
    EXPECT_EQ(out.samples[0].time, *parse_rfc3339("2026-03-01T06:00:00Z")) << time;
  }
}

TEST(NativeTelemetry, unknown_fields_are_never_an_error) {
  // A controller with more to say would be reported as faulty.
  const auto out = telemetry(sample(
      R"("pump":true,"firmware":"1.2\u00e4","nested":{"time":"n/a","a":[1,[2,{"seq":-1}]]},"Line":9,"big":123456789012345678901234567890,)"
      R"("huge":1e999,"pres":null,"":0,"tim\u0065s":3)"));
  ASSERT_EQ(out.samples.size(), 1U);
  EXPECT_THAT(out.faults, IsEmpty());
  EXPECT_FALSE(out.samples[0].line);
}

TEST(NativeTelemetry, escaped_names_are_the_same_names) {
  // JSON lets a sender escape any character.
  const auto out = telemetry(R"({"t\u0069me":"2026-03-01T06:00:00Z","\u0070ump":true})");
  ASSERT_EQ(out.samples.size(), 1U);
  EXPECT_EQ(out.samples[0].pump, true);
}

TEST(NativeTelemetry, null_is_an_absent_field) {
  // Controllers that write every field would be reported for each sensor they lack.
  const auto out = telemetry(sample(R"("seq":null,"pump":true,"line":null,"pressure_bar":null,"level_pct":null,"level_low":null,"temp_c":null)"));
  ASSERT_EQ(out.samples.size(), 1U);
  EXPECT_THAT(out.faults, IsEmpty());
  EXPECT_EQ(out.samples[0].pressure.lines, 0);
}

TEST(NativeTelemetry, an_empty_batch_says_nothing) {
  // Nothing is lost, so nothing is at fault.
  const auto out = telemetry("[]");
  EXPECT_THAT(out.samples, IsEmpty());
  EXPECT_THAT(out.faults, IsEmpty());
}

TEST(NativeTelemetry, a_bad_sample_of_a_batch_faults_only_itself) {
  // One broken sample would cost a whole outage's telemetry.
  const auto out = telemetry(
      R"([{"time":"2026-03-01T05:59:58Z","pump":true},{"line":99,"time":"n/a","pump":"x"},17,{"pump":true},)"
      R"({"time":1772344799000,"pump":false}])");
  ASSERT_EQ(out.samples.size(), 2U);
  EXPECT_EQ(out.samples[1].time, *parse_rfc3339("2026-03-01T05:59:59Z"));
  ASSERT_EQ(out.faults.size(), 3U);
  EXPECT_EQ(out.faults[0].code, FaultCode::time_unreadable);
  EXPECT_EQ(out.faults[0].where, "/1/time");
  EXPECT_EQ(out.faults[0].why, "\"n/a\" is text but no time with offset");
  EXPECT_EQ(out.faults[1].code, FaultCode::wrong_type);
  EXPECT_EQ(out.faults[1].where, "/2");
  EXPECT_EQ(out.faults[2].code, FaultCode::missing_field);
  EXPECT_EQ(out.faults[2].where, "/3/time");
}

// One bad thing in a message of one sample.
struct Bad {
  const char* name;
  std::string payload;
  FaultCode code;
  const char* where;
  const char* why;  // a part of it
  bool used;        // the rest of the sample is
};
void PrintTo(const Bad& bad, std::ostream* out) { *out << bad.name; }

class BadTelemetry : public testing::TestWithParam<Bad> {};

TEST_P(BadTelemetry, is_one_fault_that_says_where_why_and_what_would_be_right) {
  // A technician could not tell what to mend, or good fields would be lost with the bad one.
  const Bad& bad = GetParam();
  const auto out = telemetry(bad.payload);
  ASSERT_EQ(out.faults.size(), 1U);
  EXPECT_EQ(out.faults[0].code, bad.code) << name_of(out.faults[0].code);
  EXPECT_EQ(out.faults[0].where, bad.where);
  EXPECT_THAT(out.faults[0].why, HasSubstr(bad.why));
  EXPECT_FALSE(out.faults[0].remedy.empty());
  EXPECT_LE(out.faults[0].why.size(), 200U);
  ASSERT_EQ(out.samples.size(), bad.used ? 1U : 0U);
  if (bad.used) {
    EXPECT_EQ(out.samples[0].pump, true);
  }
}

std::vector<Bad> bad_telemetry() {
  const std::string deep = std::string(1000, '[') + std::string(1000, ']');
  return {
      {"empty", "", FaultCode::not_json, "", "empty", false},
      {"blank", " \n\t ", FaultCode::not_json, "", "empty", false},
      {"cut_off", R"({"time":"2026-03-01T06:00:00Z","pump":tr)", FaultCode::not_json, "", "cut off", false},
      {"cut_off_in_text", R"({"time":"2026-03-01T06)", FaultCode::not_json, "", "cut off", false},
      {"cut_off_batch", R"([{"time":"2026-03-01T06:00:00Z","pump":true},)", FaultCode::not_json, "", "cut off", false},
      {"text", "\"sample\"", FaultCode::wrong_type, "", "\"sample\" is text", false},
      {"number", "17", FaultCode::wrong_type, "", "17 is a number", false},
      {"truth", "true", FaultCode::wrong_type, "", "true", false},
      {"null", "null", FaultCode::wrong_type, "", "null", false},
      {"two_objects", "{}{}", FaultCode::not_json, "", "byte 2", false},
      {"decimal_comma", sample(R"("pump":true,"pressure_bar":[1,5;82.5])"), FaultCode::not_json, "", ";82.5", false},
      {"single_quotes", "{'time':1}", FaultCode::not_json, "", "byte 1", false},
      {"trailing_comma", sample(R"("pump":true,)"), FaultCode::not_json, "", "not JSON", false},
      {"comment", sample(R"("pump":true /* on */)"), FaultCode::not_json, "", "not JSON", false},
      {"leading_zero", sample(R"("pump":true,"temp_c":012)"), FaultCode::not_json, "", "012", false},
      {"bare_point", sample(R"("pump":true,"temp_c":.5)"), FaultCode::not_json, "", "not JSON", false},
      {"control_in_text", "{\"time\":\"2026\x01\"}", FaultCode::not_json, "", "\\u0001", false},
      {"invalid_utf8", "{\"time\":\"\xC3\x28\"}", FaultCode::not_json, "", "byte 9 is not UTF-8", false},
      {"lone_surrogate_bytes", "{\"a\":\"\xED\xA0\x80\"}", FaultCode::not_json, "", "not UTF-8", false},
      {"binary", std::string("\x00\x01\xfe\xff", 4), FaultCode::not_json, "", "not JSON at byte 0", false},
      {"nul_inside", std::string("{\"time\":\0}", 10), FaultCode::not_json, "", "not JSON", false},
      {"too_deep", deep, FaultCode::too_deep, "", "too deep", false},
      {"too_deep_and_cut_off", std::string(1000, '['), FaultCode::too_deep, "", "too deep", false},
      {"too_deep_inside", sample(R"("pump":true,"x":)" + deep), FaultCode::too_deep, "", "too deep", false},
      {"too_large", "[" + std::string(limits::payload_bytes_max, ' ') + "]", FaultCode::too_large, "", "4194306 bytes", false},
      {"no_time", R"({"pump":true})", FaultCode::missing_field, "/time", "no time", false},
      {"time_null", R"({"time":null,"pump":true,"line":99})", FaultCode::missing_field, "/time", "null", false},
      {"time_without_offset", R"({"time":"2026-03-01T06:00:00","pump":true})", FaultCode::time_unreadable, "/time", "no time with offset", false},
      {"time_is_a_list", R"({"time":[],"pump":true})", FaultCode::time_unreadable, "/time", "a list", false},
      {"time_is_true", R"({"time":true,"pump":true})", FaultCode::time_unreadable, "/time", "true", false},
      {"time_is_a_fraction", R"({"time":1772344800000.5,"pump":true})", FaultCode::time_unreadable, "/time", "is a number", false},
      {"time_is_nan", R"({"time":NaN,"pump":true})", FaultCode::time_unreadable, "/time", "NaN", false},
      {"time_beyond_64_bits", R"({"time":99999999999999999999,"pump":true})", FaultCode::time_unreadable, "/time", "99999", false},
      {"time_at_the_edge_of_64_bits", R"({"time":9223372036854775807,"pump":true})", FaultCode::time_implausible, "/time", "92233720", false},
      {"time_far_below", R"({"time":-9223372036854775808,"pump":true})", FaultCode::time_implausible, "/time", "-92233720", false},
      {"time_in_seconds", R"({"time":1772344800,"pump":true})", FaultCode::time_implausible, "/time", "seconds, where milliseconds", false},
      {"clock_not_set", R"({"time":"1970-01-01T00:03:11Z","pump":true})", FaultCode::time_implausible, "/time", "clock set", false},
      {"clock_at_2000", R"({"time":"2000-01-01T00:00:00Z","pump":true})", FaultCode::time_implausible, "/time", "clock set", false},
      {"clock_years_ahead", R"({"time":"2036-03-01T06:00:00Z","pump":true})", FaultCode::time_implausible, "/time", "clock set", false},
      {"seq_negative", sample(R"("pump":true,"seq":-1)"), FaultCode::out_of_range, "/seq", "-1", true},
      {"seq_fraction", sample(R"("pump":true,"seq":1.5)"), FaultCode::wrong_type, "/seq", "not a whole number", true},
      {"seq_text", sample(R"("pump":true,"seq":"12")"), FaultCode::wrong_type, "/seq", "\"12\" is text", true},
      {"seq_beyond_64_bits", sample(R"("pump":true,"seq":18446744073709551616)"), FaultCode::out_of_range, "/seq", "18446744073709551616", true},
      {"line_9", sample(R"("pump":true,"line":9)"), FaultCode::out_of_range, "/line", "9 is out of range", true},
      {"line_0", sample(R"("pump":true,"line":0)"), FaultCode::out_of_range, "/line", "0 is out of range", true},
      {"line_below_0", sample(R"("pump":true,"line":-1)"), FaultCode::out_of_range, "/line", "-1 is out of range", true},
      {"line_true", sample(R"("pump":true,"line":true)"), FaultCode::wrong_type, "/line", "true", true},
      {"pressure_is_text", sample(R"("pump":true,"pressure_bar":"12,4")"), FaultCode::wrong_type, "/pressure_bar", "\"12,4\" is text", true},
      {"pressure_is_a_number", sample(R"("pump":true,"pressure_bar":12.4)"), FaultCode::wrong_type, "/pressure_bar", "12.4 is a number", true},
      {"a_pressure_is_text", sample(R"("pump":true,"pressure_bar":[3.0,"12,4"])"), FaultCode::wrong_type, "/pressure_bar/1", "\"12,4\" is text", true},
      {"pressures_are_text", sample(R"("pump":true,"pressure_bar":["1","2"])"), FaultCode::wrong_type, "/pressure_bar/0", "\"1\" is text", true},
      {"pressure_9999", sample(R"("pump":true,"pressure_bar":[9999])"), FaultCode::out_of_range, "/pressure_bar/0", "9999 is out of range", true},
      {"pressure_nan", sample(R"("pump":true,"pressure_bar":[NaN,71.2])"), FaultCode::wrong_type, "/pressure_bar/0", "NaN is no JSON number", true},
      {"pressure_infinite", sample(R"("pump":true,"pressure_bar":[-Infinity])"), FaultCode::wrong_type, "/pressure_bar/0", "-Infinity", true},
      {"pressure_1e999", sample(R"("pump":true,"pressure_bar":[1e999])"), FaultCode::out_of_range, "/pressure_bar/0", "1e999", true},
      {"nine_pressures", sample(R"("pump":true,"pressure_bar":[1,2,3,4,5,6,7,8,9])"), FaultCode::out_of_range, "/pressure_bar", "more than 8", true},
      {"level_400", sample(R"("pump":true,"level_pct":400)"), FaultCode::out_of_range, "/level_pct", "400 is out of range", true},
      {"level_is_a_list", sample(R"("pump":true,"level_pct":[56])"), FaultCode::wrong_type, "/level_pct", "a list", true},
      {"level_low_is_1", sample(R"("pump":true,"level_low":1)"), FaultCode::wrong_type, "/level_low", "1 is a number", true},
      {"temp_is_an_object", sample(R"("pump":true,"temp_c":{})"), FaultCode::wrong_type, "/temp_c", "an object", true},
      {"temp_999", sample(R"("pump":true,"temp_c":999.9)"), FaultCode::out_of_range, "/temp_c", "999.9", true},
      {"printf_nan", sample(R"("pump":true,"temp_c":1.#QNAN)"), FaultCode::wrong_type, "/temp_c", "1.#QNAN", true},
      {"nan_in_a_field_of_theirs", sample(R"("pump":true,"x":NaN)"), FaultCode::not_json, "", "not JSON at byte 47", true},
      {"pump_is_text", sample(R"("pump":"on")"), FaultCode::wrong_type, "/pump", "\"on\" is text", false},
      {"nothing_but_time", sample(R"("seq":4)"), FaultCode::missing_field, "/pressure_bar", "nothing but its time", false},
      {"an_empty_list_of_pressures", sample(R"("pressure_bar":[])"), FaultCode::missing_field, "/pressure_bar", "nothing", false},
      {"pump_twice", sample(R"("pump":true,"pump":false)"), FaultCode::duplicate_field, "/pump", "twice", true},
      {"long_text", sample(R"("pump":true,"temp_c":")" + std::string(5000, 'x') + "\""), FaultCode::wrong_type, "/temp_c", "xxx\"... is text", true},
      {"newline_in_text", sample(R"("pump":true,"temp_c":"a\nb\u0000")"), FaultCode::wrong_type, "/temp_c", "\"a\\nb\\u0000\" is text", true},
  };
}

INSTANTIATE_TEST_SUITE_P(Each, BadTelemetry, testing::ValuesIn(bad_telemetry()), [](const auto& each) { return each.param.name; });

TEST(NativeTelemetry, time_that_stands_twice_is_said_and_the_first_is_used) {
  // A sample would carry a time that nobody chose.
  const auto out = telemetry(R"({"time":"2026-03-01T06:00:00Z","pump":true,"time":"2026-03-01T07:00:00Z"})");
  ASSERT_EQ(out.samples.size(), 1U);
  EXPECT_EQ(out.samples[0].time, *parse_rfc3339("2026-03-01T06:00:00Z"));
  ASSERT_EQ(out.faults.size(), 1U);
  EXPECT_EQ(out.faults[0].code, FaultCode::duplicate_field);
}

TEST(NativeTelemetry, eight_pressures_are_kept_of_nine) {
  // A list that is too long would blind lines that are well.
  const auto out = telemetry(sample(R"("pressure_bar":[1,2,3,4,5,6,7,8,9])"));
  ASSERT_EQ(out.samples.size(), 1U);
  EXPECT_EQ(out.samples[0].pressure.lines, 8);
  EXPECT_EQ(out.samples[0].pressure.of_line(8), 8.0);
}

TEST(NativeTelemetry, a_bad_pressure_leaves_the_others) {
  // One broken sensor would blind the whole station.
  const auto out = telemetry(sample(R"("pressure_bar":["x",NaN,71.2])"));
  ASSERT_EQ(out.samples.size(), 1U);
  EXPECT_EQ(out.samples[0].pressure.lines, 3);
  EXPECT_FALSE(out.samples[0].pressure.of_line(1) || out.samples[0].pressure.of_line(2));
  EXPECT_EQ(out.samples[0].pressure.of_line(3), 71.2);
  ASSERT_EQ(out.faults.size(), 1U);
  EXPECT_EQ(out.faults[0].where, "/pressure_bar/0");
}

TEST(NativeTelemetry, readings_that_a_sensor_can_send_are_for_the_rules_to_doubt) {
  // A drifting sensor could not be found, since its readings would be hidden.
  const auto out = telemetry(sample(R"("pressure_bar":[-3.2,420],"level_pct":100.8)"));
  ASSERT_EQ(out.samples.size(), 1U);
  EXPECT_THAT(out.faults, IsEmpty());
  EXPECT_EQ(out.samples[0].pressure.of_line(1), -3.2);
  EXPECT_EQ(out.samples[0].level_pct, 100.8);
}

TEST(NativeTelemetry, times_up_to_a_year_off_are_taken) {
  // A batch after a long outage, or a clock an hour off, would be refused.
  for (const double days : {-365.9, -1.0, 0.04, 365.9}) {
    const auto out = telemetry(R"({"pump":true,"time":)" + std::to_string(ms_since_1970(later_by_days(received, days))) + "}");
    EXPECT_EQ(out.samples.size(), 1U) << days;
  }
  for (const double days : {-366.1, 366.1}) {
    const auto out = telemetry(R"({"pump":true,"time":)" + std::to_string(ms_since_1970(later_by_days(received, days))) + "}");
    EXPECT_EQ(out.samples.size(), 0U) << days;
  }
}

TEST(NativeTelemetry, a_batch_is_used_up_to_its_bound) {
  // A controller that saves weeks would make the gateway slow for all others, or lose all of it.
  std::string payload = "[";
  for (std::size_t i = 0; i < limits::samples_per_message_max + 5; ++i) payload += (i > 0 ? "," : "") + sample(R"("pump":true)");
  const auto out = telemetry(payload + "]");
  EXPECT_EQ(out.samples.size(), limits::samples_per_message_max);
  ASSERT_EQ(out.faults.size(), 1U);
  EXPECT_EQ(out.faults[0].code, FaultCode::batch_too_long);
  EXPECT_EQ(out.faults[0].where, "/" + std::to_string(limits::samples_per_message_max));
}

TEST(NativeTelemetry, nesting_within_the_bound_is_read) {
  // The bound would refuse what it promises.
  const auto nested = [](std::size_t levels) { return sample(R"("pump":true,"x":)" + std::string(levels, '[') + std::string(levels, ']')); };
  EXPECT_THAT(telemetry(nested(limits::payload_depth_max - 2)).faults, IsEmpty());
  for (std::size_t levels = limits::payload_depth_max - 1; levels < limits::payload_depth_max + 3; ++levels)
    for (const auto& fault : telemetry(nested(levels)).faults) EXPECT_EQ(fault.code, FaultCode::too_deep) << levels;
  EXPECT_EQ(telemetry(nested(limits::payload_depth_max)).faults.size(), 1U);
}

TEST(NativeSettings, are_read_and_bad_ones_left_out) {
  // A controller's change of settings would be lost with its one mistake.
  auto out = decode(TopicKind::settings, R"({"cycle_s":2880,"pump_limit_s":300.5,"target_bar":180,"residual_bar":20,"lines":2,"name":"x"})");
  EXPECT_THAT(out.faults, IsEmpty());
  EXPECT_EQ(out.settings, (ControllerSettings{2880, 300.5, 180, 20, 2}));

  out = decode(TopicKind::settings, R"({"cycle_s":"2880","pump_limit_s":0,"target_bar":-5,"residual_bar":20,"lines":2.5})");
  EXPECT_EQ(out.settings, (ControllerSettings{{}, {}, {}, 20, {}}));
  ASSERT_EQ(out.faults.size(), 4U);
  EXPECT_EQ(out.faults[0].where, "/cycle_s");
  EXPECT_EQ(out.faults[0].code, FaultCode::wrong_type);
  EXPECT_EQ(out.faults[1].code, FaultCode::out_of_range);
  EXPECT_EQ(out.faults[2].code, FaultCode::out_of_range);
  EXPECT_EQ(out.faults[3].where, "/lines");
}

TEST(NativeSettings, nothing_but_faults_replaces_nothing) {
  // What is known of a controller would be forgotten because it sent rubbish.
  EXPECT_FALSE(decode(TopicKind::settings, R"({"lines":"two"})").settings);
  EXPECT_FALSE(decode(TopicKind::settings, "[1]").settings);
  EXPECT_EQ(decode(TopicKind::settings, "[1]").faults.size(), 1U);
  EXPECT_EQ(decode(TopicKind::settings, "{}").settings, ControllerSettings{});
}

TEST(NativeSettings, a_residual_limit_at_or_over_the_target_is_refused) {
  // Every turn would look well vented.
  const auto out = decode(TopicKind::settings, R"({"target_bar":100,"residual_bar":100})");
  ASSERT_EQ(out.faults.size(), 1U);
  EXPECT_EQ(out.faults[0].where, "/residual_bar");
  EXPECT_EQ(out.settings, (ControllerSettings{{}, {}, 100, {}, {}}));
}

TEST(NativePresence, says_online_or_offline_and_when) {
  // A station that left would seem to be there.
  auto out = decode(TopicKind::presence, R"({"state":"offline"})");
  EXPECT_EQ(out.presence, (PresenceChange{received, false}));
  out = decode(TopicKind::presence, R"({"state":"online","time":"2026-03-01T05:00:00Z"})");
  EXPECT_EQ(out.presence, (PresenceChange{*parse_rfc3339("2026-03-01T05:00:00Z"), true}));
  out = decode(TopicKind::presence, R"({"state":"online","time":"yesterday"})");
  EXPECT_EQ(out.presence, (PresenceChange{received, true}));
  ASSERT_EQ(out.faults.size(), 1U);
  EXPECT_EQ(out.faults[0].where, "/time");
}

TEST(NativePresence, without_a_known_state_says_nothing) {
  // A typing error would take a station off line.
  for (const char* payload : {"{}", R"({"state":null})", R"({"state":"away"})", R"({"state":false})", R"("online")", ""}) {
    const auto out = decode(TopicKind::presence, payload);
    EXPECT_FALSE(out.presence) << payload;
    EXPECT_EQ(out.faults.size(), 1U) << payload;
  }
}

TEST(NativeService, is_what_a_person_did) {
  // A repair would not restart what was learnt.
  const auto out = decode(TopicKind::service, R"({"time":"2026-03-01T05:00:00Z","kind":"repaired","line":2,"note":"new hose \u00e4"})");
  EXPECT_THAT(out.faults, IsEmpty());
  EXPECT_EQ(out.note, (ServiceNote{*parse_rfc3339("2026-03-01T05:00:00Z"), ServiceKind::repaired, 2, "new hose \xC3\xA4"}));
  const auto with_a_name = decode(TopicKind::service, R"({"time":"2026-03-01T05:00:00Z","kind":"purged","by":"A. Fitter"})");
  EXPECT_THAT(with_a_name.faults, IsEmpty());
  EXPECT_EQ(with_a_name.note, (ServiceNote{*parse_rfc3339("2026-03-01T05:00:00Z"), ServiceKind::purged, {}, "", "A. Fitter"}));
  EXPECT_EQ(decode(TopicKind::service, R"({"time":null,"kind":"purged","by":7})").note->by, "");
}

TEST(NativeService, keeps_what_a_person_did_when_its_details_are_bad) {
  // A repair would be missed because its time was mistyped.
  const auto out = decode(TopicKind::service, R"({"time":"noon","kind":"purged","line":0,"note":7})");
  EXPECT_EQ(out.note, (ServiceNote{received, ServiceKind::purged, {}, ""}));
  EXPECT_EQ(out.faults.size(), 3U);
  const auto timeless = decode(TopicKind::service, R"({"kind":"refilled"})");
  EXPECT_EQ(timeless.note, (ServiceNote{received, ServiceKind::refilled, {}, ""}));
  ASSERT_EQ(timeless.faults.size(), 1U);
  EXPECT_EQ(timeless.faults[0].code, FaultCode::missing_field);
}

TEST(NativeService, without_a_known_kind_says_nothing) {
  // A guess at what a person did could reset a baseline.
  for (const char* payload : {"{}", R"({"kind":"cleaned","time":"2026-03-01T05:00:00Z"})", R"({"kind":null})", R"({"kind":1})", "[]"}) {
    const auto out = decode(TopicKind::service, payload);
    EXPECT_FALSE(out.note) << payload;
    EXPECT_EQ(out.faults.size(), 1U) << payload;
  }
}

TEST(NativeService, a_long_note_is_cut_between_characters) {
  // A note could fill the history, or leave half a character in it.
  std::string text;
  while (text.size() < limits::note_bytes_max + 10) text += "a\xE2\x82\xAC";
  const auto out = decode(TopicKind::service, R"({"time":"2026-03-01T05:00:00Z","kind":"refilled","note":")" + text + "\"}");
  ASSERT_TRUE(out.note);
  EXPECT_LE(out.note->note.size(), limits::note_bytes_max);
  EXPECT_GT(out.note->note.size(), limits::note_bytes_max - 4);
  EXPECT_EQ(out.note->note, text.substr(0, out.note->note.size()));
  EXPECT_TRUE(out.note->note.back() == 'a' || out.note->note.back() == '\xAC');
  EXPECT_EQ(out.faults.size(), 1U);
}

TEST(NativePayloads, bytes_after_the_payload_do_not_matter) {
  // Reading past a payload's end would make the answer depend on chance.
  const std::string text = sample(R"("pump":true)") + "}}}}garbage\xff";
  NativeDecoder decoder;
  Decoded out;
  decoder.decode(TopicKind::telemetry, std::string_view(text).substr(0, text.size() - 12), received, out);
  EXPECT_EQ(out.samples.size(), 1U);
  EXPECT_THAT(out.faults, IsEmpty());
}

}  // namespace
}  // namespace driftline
