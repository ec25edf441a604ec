// Mail and webhook against real servers: what arrives, and what each answer is taken for.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <thread>

#include "gateway/messages/mail.h"
#include "tests/support/message_peers.h"
#include "tests/support/eventually.h"
#include "tests/unit/messages/plant_of_warnings.h"

namespace driftline::messages {
namespace {

using driftline::testing::Certificates;
using driftline::testing::Endpoint;
using driftline::testing::eventually;
using driftline::testing::MailServer;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using nlohmann::json;

Outbound message_of(const std::string& station, const std::string& person = "anna", history::MessageKind kind = history::MessageKind::news) {
  Item item{.id = 1, .message = {}, .warning = word(1, Change::raised, Urgency::act, monday_noon)};
  history::MessageRow& row = item.message.row;
  row.kind = kind;
  row.person = person;
  row.warning = history::WarningRef{{"northyard", station}, 2, Condition::slow_to_pressure};
  row.urgency = Urgency::act;
  row.raised = monday_noon;
  row.key = "northyard/" + station + "/line-2/slow-to-pressure|2026-01-12T12:00:00.000Z|act|" + std::string(name_of(kind)) + "|0|" + person + "|mail";
  item.warning->station.station = station;
  Outbound out{.text = text_of({item}, duty_list(), page_links("https://gateway.plant.example"), monday_noon), .person = person,
               .address = person + "@plant.example", .items = {item}, .identity = hash_of(row.key), .now = monday_noon};
  return out;
}

class MailToServer : public ::testing::Test {
 protected:
  SendResult send(const Outbound& message) { return channel_->send(message); }
  void use(MailSettings settings) { channel_ = mail_channel(settings); }

  static Certificates& authority() {
    static Certificates made;
    return made;
  }
  MailServer server_{authority()};
  std::unique_ptr<Channel> channel_ = mail_channel(server_.settings());
};

// A mail that another program reads otherwise is not read at night.
TEST_F(MailToServer, arrives_over_tls_signed_in_and_an_independent_parser_reads_it) {
  ASSERT_EQ(send(message_of("ps-01")).sent, Sent::yes);
  ASSERT_EQ(send(message_of("ps-01", "anna", history::MessageKind::reminder)).sent, Sent::yes);
  ASSERT_EQ(send(message_of("ps-02")).sent, Sent::yes);
  const auto mails = server_.mails();
  ASSERT_EQ(mails.size(), 3U);
  for (const json& mail : mails) {
    EXPECT_EQ(mail["defects"], json::array()) << mail;
    EXPECT_EQ(mail["envelope"]["from"], "driftline@plant.example");
    EXPECT_EQ(mail["envelope"]["to"], json::array({"anna@plant.example"}));
    EXPECT_EQ(mail["from"], "driftline <driftline@plant.example>");
    EXPECT_EQ(mail["date"], "2026-01-12T12:00:00+00:00");
    EXPECT_LE(mail["subject"].get<std::string>().size(), 60U);
    EXPECT_LE(mail["longest_line"], 998) << "RFC 5322, 2.1.1";
    EXPECT_EQ(mail["bare_line_feeds"], 0);
    EXPECT_THAT(mail["types"].get<std::vector<std::string>>(), ::testing::IsSupersetOf({"multipart/alternative", "text/plain", "text/html"}));
    std::vector<std::string> fields = mail["fields"];
    std::ranges::sort(fields);
    EXPECT_TRUE(std::ranges::adjacent_find(fields) == fields.end()) << "RFC 5322, 3.6: each field once";
  }
  EXPECT_EQ(mails[0]["references"], mails[1]["references"]) << "one warning is one conversation";
  EXPECT_EQ(mails[0]["references"], mails[0]["in_reply_to"]);
  EXPECT_NE(mails[0]["references"], mails[2]["references"]);
  EXPECT_NE(mails[0]["message_id"], mails[1]["message_id"]);
  EXPECT_THAT(mails[0]["text"], HasSubstr("https://gateway.plant.example/"));
}

// A picture that is not where the HTML looks for it is a broken square.
TEST_F(MailToServer, the_trend_comes_as_a_picture_that_the_html_names) {
  Outbound message = message_of("ps-01");
  Trend trend{.figure = "time_to_pressure_s", .points = {}, .from = monday_noon - std::chrono::hours{720}, .to = monday_noon, .limit = {}, .since = {}, .low = 87, .high = 99};
  for (int h = 0; h < 720; h += 6) trend.points.push_back({trend.from + std::chrono::hours{h}, 87 + h / 60.0, 88.0});
  message.items[0].trend = trend;
  message.text = text_of(message.items, duty_list(), page_links("https://gateway.plant.example"), monday_noon);
  ASSERT_EQ(send(message).sent, Sent::yes);
  const json mail = server_.mails().at(0);
  EXPECT_EQ(mail["defects"], json::array());
  EXPECT_THAT(mail["types"].get<std::vector<std::string>>(), ElementsAre("multipart/alternative", "text/plain", "multipart/related", "text/html", "image/png"));
  ASSERT_EQ(mail["images"].size(), 1U);
  EXPECT_EQ(mail["images"][0]["id"], "<trend-1@plant.example>");
  EXPECT_EQ(mail["images"][0]["first"], "89504e470d0a1a0a");
  EXPECT_THAT(mail["html"], HasSubstr("src=\"cid:trend-1@plant.example\""));
}

// A second copy must be known as one by whoever looks at its Message-ID.
TEST_F(MailToServer, a_second_attempt_has_the_same_message_id) {
  server_.behave("shut");
  const SendResult first = send(message_of("ps-01"));
  EXPECT_EQ(first.sent, Sent::later);
  EXPECT_FALSE(first.answered) << "it was taken, and nobody here can know";
  server_.behave("well");
  EXPECT_EQ(send(message_of("ps-01")).sent, Sent::yes);
  const auto mails = server_.mails();
  ASSERT_EQ(mails.size(), 2U);
  EXPECT_EQ(mails[0]["message_id"], mails[1]["message_id"]);
}

// What is odd in a station's or a person's name must arrive as it is, and must never become a field, a recipient or a command.
TEST_F(MailToServer, odd_and_hostile_names_arrive_as_text) {
  Outbound odd = message_of("ps-01");
  odd.text.subject = "P\xc3\xbcmpe \xe6\xb3\xb5 ps-01: \xf0\x9f\x9a\xa8 \"5 < 6\" =?utf-8?q?x?=";
  odd.text.plain = ".\n..\nBcc: evil@plant.example\r\n.\r\nMAIL FROM:<x@y>\n" + std::string(5'000, 'x') + "\n\xe6\xb3\xb5\n";
  ASSERT_EQ(send(odd).sent, Sent::yes);
  Outbound hostile = message_of("ps-02");
  hostile.text.subject = "ACT\r\nBcc: evil@plant.example\r\n\r\nbody\x01\x7f";
  hostile.text.html = "<p>one</p>";
  ASSERT_EQ(send(hostile).sent, Sent::yes);
  for (const char* address : {"anna@plant.example>\r\nRCPT TO:<evil@plant.example", "anna@plant.example, evil@plant.example", "<evil@plant.example>", "no address"}) {
    Outbound wrong = message_of("ps-03");
    wrong.address = address;
    EXPECT_EQ(send(wrong).sent, Sent::refused) << address;
  }
  const auto mails = server_.mails();
  ASSERT_EQ(mails.size(), 2U);
  EXPECT_EQ(mails[0]["subject"], odd.text.subject);
  EXPECT_THAT(mails[0]["text"], HasSubstr(".\n..\nBcc: evil@plant.example\n.\nMAIL FROM:<x@y>\nxxxx"));
  EXPECT_THAT(mails[0]["text"], HasSubstr("\xe6\xb3\xb5"));
  EXPECT_THAT(mails[1]["fields"].get<std::vector<std::string>>(), ::testing::Not(::testing::Contains("Bcc")));
  EXPECT_EQ(mails[1]["defects"], json::array());
  for (const json& mail : mails) EXPECT_EQ(mail["envelope"]["to"].size(), 1U);
}

struct Case {
  const char* mode;
  Sent sent;
  bool answered;
  std::size_t kept;
};

// Taken for final what is passing, a message is lost; taken for passing what is final, the channel hammers for ever.
TEST_F(MailToServer, each_answer_is_taken_for_what_it_is) {
  for (const Case& one : {Case{"busy", Sent::later, true, 0}, Case{"later anna@plant.example", Sent::later_here, true, 0}, Case{"later ben@plant.example", Sent::yes, true, 1},
                          Case{"full", Sent::later_here, true, 0}, Case{"never anna@plant.example", Sent::refused, true, 0}, Case{"spam", Sent::refused, true, 0},
                          Case{"rubbish", Sent::later, true, 0}, Case{"plain", Sent::later, true, 0}, Case{"slow 1", Sent::yes, true, 1}, Case{"shut", Sent::later, false, 1}}) {
    const std::size_t before = server_.count();
    server_.behave(one.mode);
    const SendResult result = send(message_of("ps-01"));
    EXPECT_EQ(result.sent, one.sent) << one.mode << ": " << result.answer;
    EXPECT_EQ(result.answered, one.answered) << one.mode << ": " << result.answer;
    EXPECT_FALSE(result.answer.empty()) << one.mode;
    EXPECT_EQ(server_.count() - before, one.kept) << one.mode;
  }
}

// Without TLS, to another server, or with a wrong password nothing may go out, and no secret may be told.
TEST_F(MailToServer, nothing_goes_to_a_server_that_is_not_the_one_or_without_a_sign_in) {
  MailSettings other = server_.settings();
  const Certificates stranger;
  other.ca_file = stranger.ca_file();
  use(other);
  EXPECT_EQ(send(message_of("ps-01")).sent, Sent::later);
  MailSettings wrong = server_.settings();
  const driftline::testing::TempFolder folder;
  wrong.password_file = folder.write("password", "canal-9");
  use(wrong);
  const SendResult result = send(message_of("ps-01"));
  EXPECT_EQ(result.sent, Sent::later);
  EXPECT_EQ(result.answer.find("canal-9"), std::string::npos);
  wrong.password_file = folder.file("gone");
  use(wrong);
  EXPECT_EQ(send(message_of("ps-01")).sent, Sent::later);
  server_.kill();
  use(server_.settings());
  const SendResult dead = send(message_of("ps-01"));
  EXPECT_EQ(dead.sent, Sent::later);
  EXPECT_TRUE(dead.answered) << "nobody can have taken it";
  EXPECT_EQ(server_.count(), 0U);
}

// A server that says nothing would hold up the gateway's end by a minute.
TEST_F(MailToServer, a_stop_breaks_off_what_is_being_sent) {
  server_.behave("silent");
  std::atomic<bool> ended{false};
  std::thread thread([&] {
    EXPECT_EQ(send(message_of("ps-01")).sent, Sent::later);
    ended = true;
  });
  channel_->stop();
  EXPECT_TRUE(eventually([&] { return ended.load(); }, std::chrono::seconds{9}));  // under connect_limit_ms
  thread.join();
}

class ToEndpoint : public ::testing::Test {
 protected:
  Endpoint endpoint_;
  std::unique_ptr<Channel> channel_ = webhook_channel(endpoint_.settings());
};

// The other side must be able to tell it from anybody else's, and a second copy from news.
TEST_F(ToEndpoint, is_signed_has_a_key_and_says_what_the_document_says) {
  ASSERT_EQ(channel_->send(message_of("ps-\"01\"")).sent, Sent::yes);
  ASSERT_EQ(channel_->send(message_of("ps-\"01\"")).sent, Sent::yes);
  const auto requests = endpoint_.requests();
  ASSERT_EQ(requests.size(), 2U);
  EXPECT_EQ(requests[0]["signed"], true) << "as Python's hmac has it";
  EXPECT_EQ(requests[0]["headers"]["Content-Type"], "application/json");
  EXPECT_EQ(requests[0]["headers"]["Idempotency-Key"], requests[1]["headers"]["Idempotency-Key"]);
  const json& body = requests[0]["body"];
  EXPECT_EQ(body["person"], "anna");
  EXPECT_EQ(body["warnings"].size(), 1U);
  EXPECT_EQ(body["warnings"][0]["station"], "ps-\"01\"");
  EXPECT_EQ(body["warnings"][0]["line"], 2);
  EXPECT_EQ(body["warnings"][0]["urgency"], "act");
  EXPECT_EQ(body["warnings"][0]["kind"], "news");
  EXPECT_EQ(body["warnings"][0]["causes"][0]["cause"], "slow-leak");
  EXPECT_EQ(body["warnings"][0]["limit_at"], nullptr);
  EXPECT_LE(body["subject"].get<std::string>().size(), 60U);
}

TEST_F(ToEndpoint, each_answer_is_taken_for_what_it_is) {
  // As for mail.
  for (const Case& one : {Case{"200", Sent::yes, true, 1}, Case{"202", Sent::yes, true, 1}, Case{"400", Sent::refused, true, 1}, Case{"422", Sent::refused, true, 1},
                          Case{"404", Sent::later, true, 1}, Case{"401", Sent::later, true, 1}, Case{"500", Sent::later, true, 1}, Case{"503", Sent::later, true, 1},
                          Case{"301", Sent::later, true, 1}, Case{"429 7", Sent::later, true, 1}, Case{"slow 1", Sent::yes, true, 1}, Case{"rubbish", Sent::later, false, 1},
                          Case{"close", Sent::later, false, 1}}) {
    const std::size_t before = endpoint_.requests().size();
    endpoint_.behave(one.mode);
    const SendResult result = channel_->send(message_of("ps-01"));
    EXPECT_EQ(result.sent, one.sent) << one.mode << ": " << result.answer;
    EXPECT_EQ(result.answered, one.answered) << one.mode << ": " << result.answer;
    EXPECT_EQ(endpoint_.requests().size() - before, one.kept) << one.mode;
    if (std::string_view(one.mode) == "429 7") {
      EXPECT_EQ(result.retry_after, std::chrono::seconds{7});
    }
  }
  endpoint_.kill();
  const SendResult dead = channel_->send(message_of("ps-01"));
  EXPECT_EQ(dead.sent, Sent::later);
  EXPECT_TRUE(dead.answered);
}

}  // namespace
}  // namespace driftline::messages
