#include "gateway/messages/mail.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdio>
#include <fstream>

#include "gateway/messages/channel.h"
#include "tests/unit/messages/plant_of_warnings.h"

namespace driftline::messages {
namespace {

using ::testing::HasSubstr;
using ::testing::Not;

Item item_of(const std::string& station, const std::string& text) {
  Item item;
  item.message.row.kind = history::MessageKind::news;
  item.message.row.warning = history::WarningRef{{"northyard", station}, 2, Condition::slow_to_pressure};
  item.message.row.key = "northyard/" + station + "/line-2/slow-to-pressure|2026|act|news|0|anna|mail";
  item.warning = word(1, Change::raised, Urgency::act, monday_noon);
  item.warning->text = text;
  item.message.row.urgency = Urgency::act;
  return item;
}

// As Python's email package reads it (an implementation of RFC 5322, 2045 and 2047 outside of this project).
std::string parsed_by_python(const std::string& mail, const std::string& expression) {
  const journal::Folder folder;
  std::ofstream(folder.path() + "/mail.eml", std::ios::binary) << mail;
  const std::string script = "import email,email.policy;m=email.message_from_binary_file(open('" + folder.path() +
                             "/mail.eml','rb'),policy=email.policy.default);assert not m.defects,m.defects;print(" + expression + ",end='')";
  FILE* pipe = ::popen(("/usr/bin/python3 -c \"" + script + "\" 2>&1").c_str(), "r");
  std::string out;
  char bytes[4096];
  for (std::size_t n = 0; (n = std::fread(bytes, 1, sizeof bytes, pipe)) > 0;) out.append(bytes, n);
  ::pclose(pipe);
  return out;
}

std::string mail_with(const std::string& text, const std::string& identity = "7") {
  return mail_of(text_of({item_of("ps-1", text)}, duty_list(), {}, monday_noon), {"driftline@plant.example", "anna@plant.example", monday_noon, identity, "plant.example"});
}

// A mail that another program reads otherwise is not read at night.
TEST(Mail, an_independent_parser_reads_back_what_was_meant) {
  const std::string mail = mail_with("ACT ps-1 line 2: slow to pressure\nDruck f\xc3\xa4llt, 98.8 s.\n.\nCaution: up to 250 bar.");
  EXPECT_EQ(parsed_by_python(mail, "m['subject']"), "ACT ps-1 line 2: slow to pressure");
  EXPECT_EQ(parsed_by_python(mail, "m['to']"), "anna@plant.example");
  EXPECT_EQ(parsed_by_python(mail, "m['date'].datetime.isoformat()"), "2026-01-12T12:00:00+00:00");
  EXPECT_THAT(parsed_by_python(mail, "m.get_body(('plain',)).get_content().replace('\\r','')"), HasSubstr("Druck f\xc3\xa4llt, 98.8 s.\n.\nCaution"));
  EXPECT_THAT(parsed_by_python(mail, "m.get_body(('html',)).get_content()"), HasSubstr(">Caution: up to 250 bar."));
  EXPECT_EQ(parsed_by_python(mail, "m['references']==m['in-reply-to'] and m['message-id']!=m['references']"), "True");
  for (std::size_t at = 0; (at = mail.find('\n', at)) != std::string::npos; ++at) ASSERT_EQ(mail[at - 1], '\r');
}

// One warning is one conversation: later messages of the same raise refer to the same thread.
TEST(Mail, messages_of_one_raise_are_one_thread) {
  const auto reference = [](const std::string& mail) { return mail.substr(mail.find("References: "), 60); };
  EXPECT_EQ(reference(mail_with("a\nb", "7")), reference(mail_with("c\nd", "8")));
}

// A station named by whoever can publish must not write fields of a mail.
TEST(Mail, nothing_of_a_text_becomes_a_field) {
  const std::string mail = mail_with("ACT\r\nBcc: evil@example.com\r\n\r\nps-1 \xff <script>alert(1)</script>");
  EXPECT_EQ(parsed_by_python(mail, "m['bcc']"), "None");
  EXPECT_THAT(parsed_by_python(mail, "m.get_body(('html',)).get_content()"), Not(HasSubstr("<script>")));
  EXPECT_EQ(header_text("a\r\nBcc: x"), "a  Bcc: x");
  for (const char* wrong : {"", "a", "@b", "a@", "a b@c", "a@b@c", "a\r\n@b", "<a@b>", "a@b,c@d", "J\xc3\xb6rg@b"}) EXPECT_FALSE(is_mail_address(wrong)) << wrong;
  EXPECT_FALSE(is_mail_address(std::string(65, 'a') + "@b.example"));
  EXPECT_TRUE(is_mail_address("anna.b+night@plant.example"));
}

// A telephone shows sixty characters; a cut in the middle of a letter shows none of it.
TEST(Mail, subjects_are_cut_at_a_letter) {
  std::string longest;
  for (int i = 0; i < 90; ++i) longest += "\xc3\xa4";
  const Text text = text_of({item_of(longest, "ACT\nb")}, duty_list(), {}, monday_noon);
  const std::string subject = parsed_by_python(mail_of(text, {"driftline@plant.example", "anna@plant.example", monday_noon, "7", "plant.example"}), "m['subject']");
  EXPECT_EQ(subject, "ACT " + longest.substr(0, 2 * 30) + "\u2026 line 2: slow to pressure");
}

// RFC 4231, test case 2 (from memory): a receiver with any other library must come to the same signature.
TEST(Webhook, the_signature_is_hmac_sha_256) {
  EXPECT_EQ(signature_of("Jefe", "what do ya want for nothing?"), "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843");
}

}  // namespace
}  // namespace driftline::messages
