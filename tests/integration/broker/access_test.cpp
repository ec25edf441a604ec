// Who may connect to whom: TLS, host name, client certificate, password.
#include <gtest/gtest.h>

#include "gateway/events/events.h"
#include "tests/integration/broker/listening.h"
#include "tests/support/certificates.h"
#include "tests/support/mosquitto.h"
#include "tests/support/mqtt_peer.h"

namespace driftline::testing {
namespace {

using broker::BrokerSettings;
using broker::SourceState;
using broker::TlsSettings;

std::uint64_t counted(const std::string& event, const std::string& subject) {
  for (const events::Count& count : events::counts())
    if (count.event == event && count.subject == subject) return count.total;
  return 0;
}

// Runs a source until it has failed to connect once, and says whether that was for `trouble`.
bool refused_for(const BrokerSettings& settings, const std::string& trouble) {
  const std::string subject = settings.client_id + " " + trouble;
  const std::uint64_t before = counted("broker-connect-failed", subject);
  Listening listening(settings);
  (void)eventually([&] {
    return listening.source().counts().connect_failures > 0 ||
           listening.source().state() == SourceState::listening;
  });
  if (listening.source().state() == SourceState::listening) return false;
  listening.source().stop();
  return counted("broker-connect-failed", subject) > before;
}

class Tls : public ::testing::Test {
 protected:
  static Certificates& authority() {
    static Certificates one;
    return one;
  }
  // A broker whose certificate is for `names`.
  static MosquittoOptions options(const std::string& names, bool asks_for_ours) {
    const Certificate own = authority().issue(asks_for_ours ? "strict" : "lax", names);
    return {.keeps_store = false,
            .global = {},
            .second_listener = "listener %PORT2% 127.0.0.1\ncafile " + authority().ca_file() + "\ncertfile " +
                               own.certificate_file + "\nkeyfile " + own.key_file + "\nrequire_certificate " +
                               (asks_for_ours ? "true" : "false") + "\n"};
  }
  static BrokerSettings settings(const Mosquitto& mosquitto, const std::string& host, TlsSettings tls) {
    BrokerSettings all;
    all.host = host;
    all.port = mosquitto.second_port();
    all.client_id = "gate-tls";
    all.tls = std::move(tls);
    return all;
  }
};

TEST_F(Tls, a_broker_of_our_authority_and_of_the_right_name_is_heard) {
  // The whole plant's telemetry would go in clear, or not at all.
  Mosquitto mosquitto(options("DNS:localhost", false));
  mosquitto.start();
  Listening listening(settings(mosquitto, "localhost", {authority().ca_file(), {}, {}}));
  ASSERT_TRUE(listening.listens());
  MqttPeer sender(mosquitto.port(), "sender");
  sender.publish("grease/northyard/ps-01/telemetry", "{}");
  sender.flush();
  EXPECT_TRUE(eventually([&] { return listening.size() == 1; }));
}

TEST_F(Tls, an_address_in_the_certificate_is_a_name_too) {
  // Many plants have no name server.
  Mosquitto mosquitto(options("IP:127.0.0.1", false));
  mosquitto.start();
  Listening listening(settings(mosquitto, "127.0.0.1", {authority().ca_file(), {}, {}}));
  EXPECT_TRUE(listening.listens());
}

TEST_F(Tls, a_certificate_for_another_host_is_refused) {
  // Any holder of a certificate of the same authority could pass for the broker.
  Mosquitto mosquitto(options("DNS:elsewhere.example", false));
  mosquitto.start();
  EXPECT_TRUE(refused_for(settings(mosquitto, "localhost", {authority().ca_file(), {}, {}}), "tls"));
}

TEST_F(Tls, a_certificate_of_another_authority_is_refused) {
  // As above, for anyone at all.
  Mosquitto mosquitto(options("DNS:localhost", false));
  mosquitto.start();
  const Certificates other;
  EXPECT_TRUE(refused_for(settings(mosquitto, "localhost", {other.ca_file(), {}, {}}), "tls"));
}

TEST_F(Tls, a_missing_authority_file_is_refused) {
  // It must not fall back to trusting everybody.
  Mosquitto mosquitto(options("DNS:localhost", false));
  mosquitto.start();
  EXPECT_TRUE(refused_for(settings(mosquitto, "localhost", {"/nowhere/ca.pem", {}, {}}), "tls"));
}

TEST_F(Tls, our_own_certificate_is_shown_where_it_is_asked_for) {
  // A broker that knows its clients by certificate would never let us in.
  Mosquitto mosquitto(options("DNS:localhost", true));
  mosquitto.start();
  const Certificate ours = authority().issue("gate", "DNS:gate");
  Listening listening(
      settings(mosquitto, "localhost", {authority().ca_file(), ours.certificate_file, ours.key_file}));
  EXPECT_TRUE(listening.listens());
}

TEST_F(Tls, severing_works_through_tls_too) {
  // What the journal refuses would be acknowledged on encrypted connections only.
  Mosquitto mosquitto(options("DNS:localhost", false));
  mosquitto.start();
  Listening listening(settings(mosquitto, "localhost", {authority().ca_file(), {}, {}}));
  ASSERT_TRUE(listening.listens());
  listening.throw_once();
  listening.refuse(true);
  MqttPeer sender(mosquitto.port(), "sender");
  sender.publish("grease/northyard/ps-01/telemetry", "{}");
  sender.flush();
  ASSERT_TRUE(eventually([&] { return listening.source().counts().not_taken > 0; }));
  listening.refuse(false);
  EXPECT_TRUE(eventually([&] { return listening.size() >= 1; }));
}

class Password : public ::testing::TestWithParam<broker::Protocol> {
 protected:
  Password()
      : mosquitto_({.keeps_store = false,
                    .global = "allow_anonymous false\npassword_file " + password_file() + "\n",
                    .second_listener = {}}) {
    mosquitto_.start();
  }
  std::string password_file() {
    const std::string file = folder_.write("passwords", "gate:right\n");
    Process hash({.command = {"mosquitto_passwd", "-U", file},
                  .environment = {},
                  .output_file = {},
                  .file_bytes_max = {}});
    EXPECT_EQ(hash.wait(), 0);
    return file;
  }
  BrokerSettings settings(const std::string& password) {
    BrokerSettings all;
    all.port = mosquitto_.port();
    all.client_id = "gate-pw";
    all.protocol = GetParam();
    all.user = "gate";
    all.retry_s_max = 1;
    all.password_file = folder_.write("password", password + "\n");
    return all;
  }
  TempFolder folder_;
  Mosquitto mosquitto_;
};

TEST_P(Password, the_right_one_lets_us_in) {
  // Else nothing does.
  Listening listening(settings("right"));
  EXPECT_TRUE(listening.listens());
}

TEST_P(Password, a_wrong_one_is_called_so) {
  // "cannot connect" sends people to look for a network fault.
  EXPECT_TRUE(refused_for(settings("wrong"), "not-authorised"));
}

TEST_P(Password, put_right_in_its_file_it_is_used_without_a_restart) {
  // Passwords are changed while the gateway runs.
  Listening listening(settings("wrong"));
  ASSERT_TRUE(eventually([&] { return listening.source().counts().connect_failures > 0; }));
  (void)settings("right");
  EXPECT_TRUE(listening.listens());
}

TEST_P(Password, a_file_that_is_not_there_is_named) {
  // An attempt without a password would be answered by "not authorised" and hide the typo.
  BrokerSettings all = settings("right");
  all.password_file = "/nowhere/password";
  EXPECT_TRUE(refused_for(all, "credentials-unreadable"));
}

INSTANTIATE_TEST_SUITE_P(Versions, Password,
                         ::testing::Values(broker::Protocol::mqtt_5, broker::Protocol::mqtt_3_1_1),
                         [](const auto& version) {
                           return version.param == broker::Protocol::mqtt_5 ? "mqtt_5" : "mqtt_3_1_1";
                         });

}  // namespace
}  // namespace driftline::testing
