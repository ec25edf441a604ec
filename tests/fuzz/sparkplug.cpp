#include "gateway/telemetry/sparkplug.h"

#include <array>

#include "tests/fuzz/promises.h"
#include "tests/fuzz/targets.h"

namespace driftline::fuzz {
namespace {

SparkplugDecoder fresh() {
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

}  // namespace

// A conversation: a byte for the topic, two for the payload's length (low byte first), the payload, and again.
void sparkplug(std::string_view bytes) {
  constexpr std::array<std::string_view, 8> topics{
      "spBv1.0/g/NBIRTH/n", "spBv1.0/g/NDATA/n", "spBv1.0/g/NDEATH/n", "spBv1.0/g/DBIRTH/n/d",
      "spBv1.0/g/DDATA/n/d", "spBv1.0/g/DDEATH/n/d", "spBv1.0/g/DBIRTH/n/e", "spBv1.0/g/DDATA/n/e"};
  SparkplugDecoder decoder = fresh();
  SparkplugOutcome out;
  Time received = time_from_ms(1'772'344'805'000);
  while (bytes.size() >= 3) {
    const std::string_view topic = topics[static_cast<unsigned char>(bytes[0]) % topics.size()];
    const std::size_t length = static_cast<unsigned char>(bytes[1]) + 256U * static_cast<unsigned char>(bytes[2]);
    bytes.remove_prefix(3);
    const std::string_view payload = bytes.substr(0, length);
    bytes.remove_prefix(payload.size());
    decoder.take(topic, payload, received, out);
    received += std::chrono::seconds{1};
    for (const Fault& fault : out.faults) hold_fault(fault);
    for (const SparkplugPart& part : out.parts) {
      hold(part.station.site == "east", "the mapping's site");
      for (std::size_t i = 0; i < part.samples.size(); ++i) hold_sample(part.samples[i]);
      if (part.settings) hold_settings(*part.settings);
    }
  }
}

}  // namespace driftline::fuzz
