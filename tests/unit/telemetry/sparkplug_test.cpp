#include "gateway/telemetry/sparkplug.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "gateway/telemetry/limits.h"
#include "gateway/telemetry/sparkplug_wire.h"
#include "rules/records/time_text.h"

namespace driftline {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

const Time received = *parse_rfc3339("2026-03-01T06:00:00Z");
const auto now_ms = static_cast<std::uint64_t>(ms_since_1970(received));

// ---- a small encoder for what the tests send ----

void varint(std::string& out, std::uint64_t value) {
  for (; value >= 0x80; value >>= 7U) out += static_cast<char>((value & 0x7FU) | 0x80U);
  out += static_cast<char>(value);
}
std::string number(std::uint64_t field, std::uint64_t value) {
  std::string out;
  varint(out, field << 3U);
  varint(out, value);
  return out;
}
std::string bytes(std::uint64_t field, std::string_view value) {
  std::string out;
  varint(out, field << 3U | 2U);
  varint(out, value.size());
  return out.append(value);
}
std::string metric(const std::string& fields) { return bytes(2, fields); }
std::string name(std::string_view text) { return bytes(1, text); }
std::string alias(std::uint64_t value) { return number(2, value); }
std::string at(std::uint64_t ms) { return number(3, ms); }
std::string type(std::uint64_t value) { return number(4, value); }
std::string integer(std::uint64_t value) { return number(10, value); }
std::string truth(bool value) { return number(14, value ? 1 : 0); }
std::string text(std::string_view value) { return bytes(15, value); }
std::string seq(std::uint64_t value) { return number(3, value); }
std::string stamp(std::uint64_t ms = now_ms) { return number(1, ms); }

std::string node_birth(std::uint64_t death_number = 7) {
  return stamp() + seq(0) + metric(name("bdSeq") + type(8) + number(11, death_number));
}
std::string device_birth(std::uint64_t number) {
  return stamp() + seq(number) + metric(name("run") + alias(1) + type(11) + truth(false)) + metric(name("bar") + alias(2) + type(7) + integer(3)) +
         metric(name("other") + alias(3) + type(12) + text("x"));
}
std::string data(std::uint64_t number, const std::string& metrics) { return stamp() + seq(number) + metrics; }

class Sparkplug : public testing::Test {
 protected:
  void SetUp() override {
    SparkplugMapping mapping;
    mapping.name = "edge";
    mapping.group = "plant";
    mapping.sample.pump = MappedSwitch{"run"};
    mapping.sample.line_pressures = {{"", ""}, {"bar", ""}};
    mapping.settings.lines = MappedField{"lines", ""};
    decoder_.emplace(std::move(*SparkplugDecoder::make({mapping})));
  }

  const SparkplugOutcome& take(const std::string& topic, const std::string& payload, Time when = received) {
    decoder_->take("spBv1.0/plant/" + topic, payload, when, out_);
    return out_;
  }
  void be_born() {
    take("NBIRTH/n", node_birth());
    take("DBIRTH/n/d", device_birth(1));
    ASSERT_THAT(out_.faults, IsEmpty());
  }

  std::optional<SparkplugDecoder> decoder_;
  SparkplugOutcome out_;
};

TEST_F(Sparkplug, only_births_data_and_deaths_of_mapped_groups_are_ours) {
  // Commands would be taken for data, or another host's group for ours.
  EXPECT_TRUE(decoder_->is_about("spBv1.0/plant/NBIRTH/n"));
  EXPECT_TRUE(decoder_->is_about("spBv1.0/plant/DDATA/n/d"));
  for (const char* topic : {"spBv1.0/plant/NBIRTH/n/d", "spBv1.0/plant/DDATA/n", "spBv1.0/plant/NCMD/n", "spBv1.0/STATE/host", "spBv1.0/other/NDATA/n",
                            "spAv1.0/plant/NDATA/n", "spBv1.0/plant/DDATA/n/d/x", "", "spBv1.0"})
    EXPECT_FALSE(decoder_->is_about(topic)) << topic;
  EXPECT_THAT(decoder_->topic_filters(), ElementsAre("spBv1.0/plant/#"));
}

TEST_F(Sparkplug, data_before_the_birth_asks_for_it_but_not_with_each_message) {
  // Aliases without their birth mean nothing; a slow node would be flooded with requests.
  EXPECT_EQ(take("DDATA/n/d", data(5, metric(alias(1) + truth(true)))).rebirth_topic, "spBv1.0/plant/NCMD/n");
  EXPECT_THAT(out_.parts, IsEmpty());
  ASSERT_THAT(out_.faults, SizeIs(1));
  EXPECT_EQ(out_.faults[0].code, FaultCode::birth_missing);
  EXPECT_EQ(out_.station, (StationId{"plant", "d"}));
  EXPECT_FALSE(take("DDATA/n/d", data(6, ""), later_by_s(received, 29)).rebirth_topic);
  EXPECT_THAT(out_.faults, SizeIs(1));
  EXPECT_TRUE(take("DDATA/n/d", data(7, ""), later_by_s(received, 31)).rebirth_topic);
}

TEST_F(Sparkplug, the_number_is_followed_over_all_topics_of_a_node_and_wraps) {
  // A lost message would leave an old value standing for hours.
  be_born();
  for (std::uint64_t i = 2; i < 600; ++i)
    ASSERT_THAT(take(i % 2 == 0 ? "NDATA/n" : "DDATA/n/d", data(i % 256, "")).faults, IsEmpty()) << i;
  EXPECT_EQ(take("DDATA/n/d", data(90, metric(alias(1) + truth(true)))).rebirth_topic, "spBv1.0/plant/NCMD/n");
  EXPECT_EQ(out_.faults.at(0).where, "/seq");
  EXPECT_EQ(out_.parts.at(0).samples.at(0).pump, true);  // what it says still holds
  EXPECT_EQ(take("DDATA/n/d", stamp() + metric(alias(1) + truth(false))).faults.at(0).code, FaultCode::missing_field);
  EXPECT_EQ(take("DDATA/n/d", data(256, "")).faults.at(0).code, FaultCode::out_of_range);
}

TEST_F(Sparkplug, a_new_birth_forgets_the_old_aliases) {
  // An alias would point at the metric that it named before.
  be_born();
  take("NBIRTH/n", node_birth(8));
  EXPECT_EQ(take("DDATA/n/d", data(1, metric(alias(1) + truth(true)))).faults.at(0).code, FaultCode::birth_missing);
  take("NBIRTH/n", node_birth(9));
  take("DBIRTH/n/d", stamp() + seq(1) + metric(name("bar") + alias(1) + type(7) + integer(3)));
  EXPECT_EQ(take("DDATA/n/d", data(2, metric(alias(1) + integer(44)))).parts.at(0).samples.at(0).pressure.of_line(2), 44.0);
  EXPECT_FALSE(out_.parts[0].samples[0].pump);
}

TEST_F(Sparkplug, an_unknown_alias_asks_for_a_birth_and_the_rest_is_used) {
  // A changed configuration at the edge would go unnoticed.
  be_born();
  take("DDATA/n/d", data(2, metric(alias(99) + truth(true)) + metric(alias(1) + truth(true)) + metric(name("unheard-of") + truth(true))));
  EXPECT_TRUE(out_.rebirth_topic);
  EXPECT_EQ(out_.faults.at(0).where, "/metrics/0/alias");
  EXPECT_EQ(out_.parts.at(0).samples.at(0).pump, true);
}

TEST_F(Sparkplug, an_alias_of_another_device_is_not_taken) {
  // One station's pressure would be credited to another.
  be_born();
  take("DBIRTH/n/e", stamp() + seq(2) + metric(name("bar") + alias(7) + type(7) + integer(3)));
  EXPECT_EQ(take("DDATA/n/d", data(3, metric(alias(7) + integer(90)))).faults.at(0).code, FaultCode::birth_missing);
  EXPECT_THAT(out_.parts, IsEmpty());
}

TEST_F(Sparkplug, a_bad_value_is_unknown_from_then_on) {
  // The value before would be taken for the present one.
  be_born();
  take("DDATA/n/d", data(2, metric(alias(2) + integer(99999)) + metric(alias(1) + text("perhaps"))));
  ASSERT_THAT(out_.faults, SizeIs(2));
  EXPECT_EQ(out_.faults[0].where, "/metrics/0/value");
  EXPECT_EQ(out_.faults[0].code, FaultCode::out_of_range);
  EXPECT_EQ(out_.faults[1].why, "\"perhaps\" is neither of the two states");
  EXPECT_FALSE(out_.parts.at(0).samples.at(0).pump);
  EXPECT_FALSE(out_.parts[0].samples[0].pressure.of_line(2));
  take("DDATA/n/d", data(3, metric(alias(2) + text("12"))));
  EXPECT_EQ(out_.faults.at(0).code, FaultCode::wrong_type);
}

TEST_F(Sparkplug, a_clock_that_is_not_set_costs_only_its_metric) {
  // Turns would be placed in 1970.
  be_born();
  take("DDATA/n/d", data(2, metric(alias(1) + at(1000) + truth(true)) + metric(alias(2) + integer(5))));
  EXPECT_EQ(out_.faults.at(0).code, FaultCode::time_implausible);
  EXPECT_EQ(out_.faults[0].where, "/metrics/0/timestamp");
  EXPECT_EQ(out_.parts.at(0).samples.at(0).pump, false);
}

TEST_F(Sparkplug, deaths_take_stations_off_line) {
  // A dead link would look like a station at rest.
  be_born();
  take("DBIRTH/n/a", device_birth(2));
  EXPECT_EQ(take("DDEATH/n/d", data(3, "")).parts.at(0).presence, (PresenceChange{received, false}));
  EXPECT_EQ(take("DDATA/n/d", data(4, metric(alias(1) + truth(true)))).faults.at(0).code, FaultCode::birth_missing);
  take("DBIRTH/n/d", device_birth(5));
  take("NDEATH/n", metric(name("bdSeq") + number(11, 7)));
  ASSERT_THAT(out_.parts, SizeIs(2));
  EXPECT_EQ(out_.parts[0].station.station, "a");
  EXPECT_EQ(out_.parts[1].presence, (PresenceChange{received, false}));
}

TEST_F(Sparkplug, bytes_that_are_no_payload_are_said) {
  // Rubbish would crash the gateway, or pass in silence.
  be_born();
  const std::string good = device_birth(2);
  for (std::size_t length = 1; length < good.size(); ++length) {
    take("DBIRTH/n/d", good.substr(0, length));
    for (const auto& fault : out_.faults) EXPECT_NE(fault.code, FaultCode::wrong_type);
  }
  for (const std::string& bad : {std::string("\x0b\x0c", 2), std::string("{\"a\":1}"), std::string(10, '\xff'), number(2, 5), bytes(1, "x"), number(0, 1),
                                 metric(number(1, 5)), metric(bytes(2, "x"))}) {
    take("DDATA/n/d", bad);
    ASSERT_THAT(out_.faults, SizeIs(1));
    EXPECT_EQ(out_.faults[0].code, FaultCode::not_sparkplug);
  }
  std::string many = stamp() + seq(9);
  for (std::size_t i = 0; i <= telemetry_limits::metrics_per_message_max; ++i) many += metric("");
  EXPECT_EQ(take("DDATA/n/d", many).faults.at(0).code, FaultCode::batch_too_long);
  EXPECT_EQ(take("DDATA/n/d", std::string(telemetry_limits::payload_bytes_max + 1, 'x')).faults.at(0).code, FaultCode::too_large);
}

TEST_F(Sparkplug, a_device_without_any_of_our_metrics_is_said) {
  // A mapping with a typing error would look well.
  take("NBIRTH/n", node_birth());
  take("DBIRTH/n/d", stamp() + seq(1) + metric(name("Run") + type(11) + truth(true)));
  ASSERT_THAT(out_.faults, SizeIs(1));
  EXPECT_EQ(out_.faults[0].code, FaultCode::missing_field);
  EXPECT_THAT(out_.faults[0].remedy, HasSubstr("\"edge\""));
}

TEST_F(Sparkplug, what_comes_without_bound_is_refused) {
  // A node that is out of order would fill the memory.
  be_born();
  std::uint64_t next = 2;
  for (std::size_t i = 0; i + 1 < telemetry_limits::devices_per_node_max; ++i)
    ASSERT_THAT(take("DBIRTH/n/x" + std::to_string(i), device_birth(next++ % 256)).faults, IsEmpty()) << i;
  EXPECT_EQ(take("DBIRTH/n/one-more", device_birth(next++ % 256)).faults.at(0).code, FaultCode::too_many_stations);
}

TEST(SparkplugMappings, that_cannot_work_are_refused_with_their_place) {
  // A mistake in configuration would show only as missing data.
  SparkplugMapping mapping;
  mapping.group = "a/b";
  mapping.site = "s p";
  mapping.sample.time = MappedField{"t", ""};
  mapping.sample.pressures = MappedField{"p", ""};
  mapping.sample.temp = MappedField{"t", "psi"};
  mapping.sample.level = MappedField{"t", "%"};
  mapping.settings.lines = MappedField{"", ""};
  const auto made = SparkplugDecoder::make({mapping, {}});
  ASSERT_FALSE(made);
  std::vector<std::string> places;
  for (const auto& mistake : made.error()) places.push_back(mistake.where);
  EXPECT_THAT(places, ElementsAre("/0/group", "/0/site", "/0/sample/time", "/0/sample/pressures", "/0/sample/temp/unit", "/0/sample/temp/at",
                                  "/0/settings/lines/at", "/1/sample"));
}

}  // namespace
}  // namespace driftline
