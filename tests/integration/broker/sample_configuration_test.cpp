#include <gtest/gtest.h>

#include <fstream>
#include <sstream>

#include "tests/integration/broker/listening.h"
#include "tests/support/mosquitto.h"

namespace driftline::testing {
namespace {

TEST(SampleConfiguration, is_accepted_by_the_broker_and_the_gateway_connects) {
  // The compose file would start a broker that ends at once.
  std::ostringstream sample;
  sample << std::ifstream(DRIFTLINE_SOURCE_DIR "/docker/mosquitto.conf").rdbuf();
  ASSERT_FALSE(sample.str().empty());
  std::istringstream lines(sample.str());
  std::string ours;  // without what belongs to the container: places and port
  for (std::string line; std::getline(lines, line);)
    if (!line.empty() && line[0] != '#' && !line.starts_with("persistence") && !line.starts_with("listener"))
      ours += line + "\n";
  Mosquitto mosquitto({.keeps_store = true, .global = ours, .second_listener = {}});
  mosquitto.start();
  broker::BrokerSettings settings;
  settings.port = mosquitto.port();
  Listening listening(settings);
  EXPECT_TRUE(listening.listens());
}

}  // namespace
}  // namespace driftline::testing
