// The publisher against a real mosquitto, over an outbox in memory.
#include "gateway/broker/publisher.h"

#include <gtest/gtest.h>

#include <atomic>
#include <mutex>

#include "tests/integration/broker/listening.h"
#include "tests/support/mosquitto.h"
#include "tests/support/mqtt_peer.h"

namespace driftline::testing {
namespace {

using broker::BrokerSettings;
using broker::Outbox;
using broker::OutboxPage;
using broker::Publisher;

// Rows 0..rows-1; the cursor outlives the publisher, as the history does.
class Rows {
 public:
  void append(int n) { rows_ += n; }
  [[nodiscard]] int cursor() const { return cursor_; }
  Outbox outbox() {
    return {[this](std::size_t rows_max) {
              OutboxPage page;
              for (int row = cursor_; row < rows_ && page.rows < rows_max; ++row, ++page.rows)
                page.messages.push_back({"driftline/changes/northyard/ps-01", std::to_string(row), false});
              given_ = cursor_ + static_cast<int>(page.rows);
              return page;
            },
            [this] { cursor_ = given_; },
            {}};
  }

 private:
  std::atomic<int> rows_{0}, cursor_{0};
  int given_ = 0;
};

BrokerSettings settings_for(std::uint16_t port) {
  BrokerSettings settings;
  settings.port = port;
  settings.client_id = "gate-1";
  settings.retry_s_max = 1;
  return settings;
}

TEST(PublisherTest, publishes_every_row_in_order) {
  // A cleared warning published before it was raised would stand for ever.
  Mosquitto mosquitto;
  mosquitto.start();
  MqttPeer watcher(mosquitto.port(), "watcher");
  watcher.subscribe("driftline/#");
  Rows rows;
  rows.append(5000);
  Publisher publisher(settings_for(mosquitto.port()), rows.outbox());
  publisher.start();
  const auto seen = watcher.until([](const PeerMessage& m) { return m.payload == "4999"; });
  ASSERT_EQ(seen.size(), 5000U);
  for (std::size_t i = 0; i < seen.size(); ++i) ASSERT_EQ(seen[i].payload, std::to_string(i));
  EXPECT_TRUE(eventually([&] { return rows.cursor() == 5000; }));
}

TEST(PublisherTest, a_broker_that_is_away_costs_only_waiting) {
  // Warnings raised during an outage of the broker would never be published.
  Mosquitto mosquitto;
  mosquitto.start();
  {
    MqttPeer watcher(mosquitto.port(), "watcher", false);
    watcher.subscribe("driftline/#");
  }
  mosquitto.stop();
  Rows rows;
  rows.append(10);
  Publisher publisher(settings_for(mosquitto.port()), rows.outbox());
  publisher.start();
  ASSERT_TRUE(eventually([&] { return publisher.counts().stops > 0; }));
  EXPECT_EQ(rows.cursor(), 0);
  mosquitto.start();
  ASSERT_TRUE(eventually([&] { return rows.cursor() == 10; }));
  MqttPeer watcher(mosquitto.port(), "watcher", false);
  const auto seen = watcher.until([](const PeerMessage& m) { return m.payload == "9"; });
  EXPECT_EQ(seen.size(), 10U);
}

TEST(PublisherTest, a_broker_killed_in_the_middle_gets_all_that_it_had_not_confirmed) {
  // The cursor would have moved past rows that nobody ever saw.
  Mosquitto mosquitto;
  mosquitto.start();
  Rows rows;
  Publisher publisher(settings_for(mosquitto.port()), rows.outbox());
  publisher.start();
  rows.append(200'000);
  publisher.nudge();
  ASSERT_TRUE(eventually([&] { return rows.cursor() > 1000; }));
  mosquitto.kill();
  ASSERT_TRUE(eventually([&] { return publisher.counts().stops > 0; }));
  const int confirmed = rows.cursor();
  ASSERT_LT(confirmed, 200'000);
  rows.append(-199'000 + confirmed);  // enough is enough: 1000 more
  mosquitto.start();
  MqttPeer watcher(mosquitto.port(), "watcher");
  watcher.subscribe("driftline/#");
  const std::string last = std::to_string(confirmed + 999);
  const auto seen = watcher.until([&](const PeerMessage& m) { return m.payload == last; }, 5'000);
  (void)seen;  // the watcher may have come late; the cursor is what counts
  EXPECT_TRUE(eventually([&] { return rows.cursor() == confirmed + 1000; }));
}

TEST(PublisherTest, a_clean_end_publishes_what_waits) {
  // The warning that led somebody to stop the gateway would be told only at the next start.
  Mosquitto mosquitto;
  mosquitto.start();
  Rows rows;
  Publisher publisher(settings_for(mosquitto.port()), rows.outbox());
  publisher.start();
  ASSERT_TRUE(eventually([&] { return publisher.connected(); }));
  rows.append(700);
  publisher.stop();
  EXPECT_EQ(rows.cursor(), 700);
}

TEST(PublisherTest, it_goes_on_while_the_source_is_flooded) {
  // The library holds one mutex for all clients while it calls the source: publishing from a thread that the
  // callback waits for is a dead-lock.
  Mosquitto mosquitto;
  mosquitto.start();
  Listening listening(settings_for(mosquitto.port()));
  ASSERT_TRUE(listening.listens());
  Rows rows;
  Publisher publisher(settings_for(mosquitto.port()), rows.outbox());
  publisher.start();
  MqttPeer sender(mosquitto.port(), "sender");
  for (int i = 0; i < 30'000; ++i) {
    sender.publish("grease/northyard/ps-01/telemetry", "{}");
    if (i % 10 == 0) {
      rows.append(1);
      publisher.nudge();
    }
  }
  sender.flush();
  EXPECT_TRUE(eventually([&] { return listening.size() == 30'000; }));
  EXPECT_TRUE(eventually([&] { return rows.cursor() == 3'000; }));
}

}  // namespace
}  // namespace driftline::testing
