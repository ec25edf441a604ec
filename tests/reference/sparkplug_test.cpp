// Sparkplug B, Eclipse Sparkplug Specification 3.0.0, chapters 4 to 6 (read). Payloads: tests/reference/data/
// sparkplug_payloads.csv, encoded by protoc 3.21.12 from a schema with the specification's field numbers; the rule of signs for
// integers that travel unsigned is from memory.
#include "gateway/telemetry/sparkplug.h"

#include <gtest/gtest.h>

#include <fstream>
#include <map>

#include "gateway/telemetry/sparkplug_wire.h"
#include "rules/records/time_text.h"

namespace driftline {
namespace {

std::string payload(const std::string& name) {
  std::ifstream file(std::string(DRIFTLINE_SOURCE_DIR) + "/tests/reference/data/sparkplug_payloads.csv");
  std::string line;
  while (std::getline(file, line)) {
    if (line.rfind(name + ",", 0) != 0) continue;
    std::string out;
    for (std::size_t i = name.size() + 1; i + 1 < line.size(); i += 2) out += static_cast<char>(std::stoi(line.substr(i, 2), nullptr, 16));
    return out;
  }
  throw std::runtime_error("no payload " + name);
}

SparkplugDecoder decoder() {
  SparkplugMapping mapping;
  mapping.name = "edge";
  mapping.site = "east";
  mapping.sample.pump = MappedSwitch{"Pump/Running"};
  mapping.sample.line = MappedField{"Line", ""};
  mapping.sample.line_pressures = {{"Pressure/1", "bar"}, {"Pressure/2", "MPa"}};
  mapping.sample.level = MappedField{"Reservoir/Level", "%"};
  mapping.sample.temp = MappedField{"Temperature", "C"};
  mapping.settings.target = MappedField{"Target", "kPa"};
  return std::move(*SparkplugDecoder::make({mapping}));
}

const Time received = *parse_rfc3339("2026-03-01T06:00:05Z");

TEST(SparkplugB, the_specification_s_text_example_is_read) {
  // We would speak a dialect of our own. 1486144502122 = 2017-02-03T17:55:02.122Z.
  sparkplug::Payload read;
  const std::string bytes = payload("text-example");
  ASSERT_EQ(sparkplug::read(bytes, read), sparkplug::Trouble::none);
  EXPECT_EQ(read.timestamp_ms, 1486144502122U);
  EXPECT_EQ(rfc3339(time_from_ms(static_cast<std::int64_t>(*read.timestamp_ms))), "2017-02-03T17:55:02.122Z");
  EXPECT_FALSE(read.seq);  // payloads-ndeath-seq
  ASSERT_EQ(read.metrics.size(), 1U);
  EXPECT_EQ(read.metrics[0].name, "bdSeq");
  EXPECT_EQ(read.metrics[0].datatype, 8U);
  EXPECT_EQ(sparkplug::number_of(read.metrics[0].value, 8), 0.0);
}

TEST(SparkplugB, a_node_s_life_becomes_presence_settings_and_samples) {
  // A plant that speaks Sparkplug B could not be watched.
  SparkplugDecoder sparkplug = decoder();
  SparkplugOutcome out;
  sparkplug.take("spBv1.0/Sparkplug B Devices/NBIRTH/Raspberry Pi", payload("node-birth"), received, out);
  EXPECT_EQ(out.faults.size(), 1U);  // a node with a space in its name is no station of ours
  sparkplug.take("spBv1.0/plant/NBIRTH/edge-1", payload("node-birth"), received, out);
  EXPECT_TRUE(out.faults.empty() && out.parts.empty());

  sparkplug.take("spBv1.0/plant/DBIRTH/edge-1/ps-1", payload("device-birth"), received, out);
  EXPECT_TRUE(out.faults.empty());
  ASSERT_EQ(out.parts.size(), 1U);
  EXPECT_EQ(out.parts[0].station, (StationId{"east", "ps-1"}));
  EXPECT_EQ(out.parts[0].presence, (PresenceChange{time_from_ms(1772344800100), true}));
  EXPECT_EQ(out.parts[0].settings, (ControllerSettings{{}, {}, 180, {}, {}}));
  ASSERT_EQ(out.parts[0].samples.size(), 1U);
  EXPECT_EQ(out.parts[0].samples[0].temp_c, -4.0);
  EXPECT_EQ(out.parts[0].samples[0].pressure.of_line(2), 12.5);

  sparkplug.take("spBv1.0/plant/DDATA/edge-1/ps-1", payload("device-data"), received, out);
  EXPECT_TRUE(out.faults.empty());
  ASSERT_EQ(out.parts.at(0).samples.size(), 2U);
  const Sample& first = out.parts[0].samples[0];
  EXPECT_EQ(first.time, time_from_ms(1772344801000));
  EXPECT_EQ(first.pump, true);
  EXPECT_EQ(first.line, 1);
  EXPECT_EQ(first.pressure.of_line(1), 81.5);
  EXPECT_EQ(first.pressure.of_line(2), 12.5);
  EXPECT_EQ(first.level_pct, 56.0);
  EXPECT_EQ(out.parts[0].samples[1].pressure.of_line(1), 90.25);
  EXPECT_FALSE(out.parts[0].samples[1].pressure.of_line(2));

  sparkplug.take("spBv1.0/plant/DDATA/edge-1/ps-1", payload("historical-data"), received, out);
  ASSERT_EQ(out.parts.at(0).samples.size(), 2U);
  EXPECT_EQ(out.parts[0].samples[0].time, time_from_ms(1772344700000));
  EXPECT_EQ(out.parts[0].samples[0].pressure.of_line(1), 12.5);
  EXPECT_FALSE(out.parts[0].samples[0].pump);
  EXPECT_EQ(out.parts[0].samples[1].pressure.of_line(1), 90.25);  // the past does not change the present
  EXPECT_EQ(out.parts[0].samples[1].temp_c, -10.0);

  sparkplug.take("spBv1.0/plant/NDEATH/edge-1", payload("text-example"), received, out);
  EXPECT_TRUE(out.parts.empty());  // bdSeq of another connection
  sparkplug.take("spBv1.0/plant/NDEATH/edge-1", payload("node-death"), received, out);
  ASSERT_EQ(out.parts.size(), 1U);
  EXPECT_EQ(out.parts[0].presence, (PresenceChange{received, false}));
  sparkplug.take("spBv1.0/plant/NDEATH/edge-1", payload("node-death"), received, out);
  EXPECT_TRUE(out.parts.empty());  // a second one is ignored
}

TEST(SparkplugB, the_request_for_a_birth_is_the_specification_s) {
  // Edge nodes would not understand us.
  EXPECT_EQ(sparkplug::rebirth_request(time_from_ms(1772344800000)), payload("rebirth-request"));
}

TEST(SparkplugB, integers_keep_their_sign) {
  // -23 is E9 in eight bits, two's complement.
  EXPECT_EQ(sparkplug::number_of(std::uint64_t{0xE9}, 1), -23.0);
  EXPECT_EQ(sparkplug::number_of(std::uint64_t{0xFFFFFFE9}, 1), -23.0);
  EXPECT_EQ(sparkplug::number_of(std::uint64_t{0x8AD0}, 2), -30000.0);
  EXPECT_EQ(sparkplug::number_of(std::uint64_t{0xFFFFFFFF}, 3), -1.0);
  EXPECT_EQ(sparkplug::number_of(~std::uint64_t{0}, 4), -1.0);
  EXPECT_EQ(sparkplug::number_of(std::uint64_t{250}, 5), 250.0);
  EXPECT_EQ(sparkplug::number_of(std::uint64_t{52360}, 6), 52360.0);
  EXPECT_EQ(sparkplug::number_of(std::uint64_t{3293969225}, 7), 3293969225.0);
}

}  // namespace
}  // namespace driftline
