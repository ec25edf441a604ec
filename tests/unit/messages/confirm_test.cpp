// Links that take a warning: what is signed holds, and nothing else does.
#include "gateway/messages/confirm.h"

#include <gtest/gtest.h>
#include <rapidcheck.h>
#include <sys/stat.h>

#include <fstream>

#include "tests/support/temp_folder.h"

namespace driftline::messages {
namespace {

const Time raised = time_from_ms(1'772'344'800'310);

LinkKey key_of_numbers() {
  LinkKey key{};
  for (std::size_t i = 0; i < key.size(); ++i) key.at(i) = static_cast<unsigned char>(i);
  return key;
}

LinkClaim claim_for(const std::string& person) {
  return {LinkPurpose::acknowledge, {{"northyard", "ps-01"}, 2, Condition::slow_to_pressure}, raised, raised + link_for, person};
}

LinkFault fault_of(std::string_view token, LinkPurpose wanted = LinkPurpose::acknowledge, Time now = raised) {
  const auto claim = claim_of(token, wanted, key_of_numbers(), now);
  EXPECT_FALSE(claim) << token;
  return claim ? LinkFault{} : claim.error();
}

// Another program could not check our links, or our check would hold for our own mistakes alone. The token was made by Python's
// hmac, hashlib and base64 (RFC 2104, FIPS 180-4, RFC 4648).
TEST(ConfirmLink, is_signed_as_the_standards_say) {
  const std::string token =
      "MQphY2tub3dsZWRnZQpub3J0aHlhcmQvcHMtMDEvbGluZS0yL3Nsb3ctdG8tcHJlc3N1cmUKMTc3MjM0NDgwMDMxMAoxNzcyOTQ5NjAwMzEwCkrDvHJnZW4gTydOZWls."
      "TLZBTwWw_J1r9M5prSgUr3FsKFCwajs6Prck_CBBvgY";
  EXPECT_EQ(token_of(claim_for("J\xC3\xBCrgen O'Neil"), key_of_numbers()), token);
  const auto claim = claim_of(token, LinkPurpose::acknowledge, key_of_numbers(), raised);
  ASSERT_TRUE(claim);
  EXPECT_EQ(*claim, claim_for("J\xC3\xBCrgen O'Neil"));
}

// Somebody could take warnings in another's name, or take others than the one that was sent.
TEST(ConfirmLink, with_any_byte_altered_holds_no_more) {
  const std::string token = token_of(claim_for("anna"), key_of_numbers());
  for (std::size_t at = 0; at < token.size(); ++at)
    for (int byte = 0; byte < 256; ++byte) {
      std::string altered = token;
      altered[at] = static_cast<char>(byte);
      EXPECT_EQ(claim_of(altered, LinkPurpose::acknowledge, key_of_numbers(), raised).has_value(), altered == token) << at << ": " << byte;
    }
  EXPECT_TRUE(rc::check([&] {
    const auto bytes = *rc::gen::inRange<std::size_t>(0, token.size());
    RC_ASSERT(!claim_of(token.substr(0, bytes), LinkPurpose::acknowledge, key_of_numbers(), raised));
    RC_ASSERT(!claim_of(token + *rc::gen::nonEmpty(rc::gen::string<std::string>()), LinkPurpose::acknowledge, key_of_numbers(), raised));
    RC_ASSERT(!claim_of(*rc::gen::string<std::string>(), LinkPurpose::acknowledge, key_of_numbers(), raised));
  }));
}

// A person could not be told what is wrong with the link.
TEST(ConfirmLink, that_does_not_hold_says_why) {
  const std::string token = token_of(claim_for("anna"), key_of_numbers());
  EXPECT_EQ(fault_of(""), LinkFault::not_a_link);
  EXPECT_EQ(fault_of(token.substr(0, 60)), LinkFault::not_a_link);
  EXPECT_EQ(fault_of(token.substr(0, token.size() - 4)), LinkFault::not_a_link);
  EXPECT_EQ(fault_of(std::string(2000, 'a')), LinkFault::not_a_link);
  std::string altered = token;
  altered[3] = altered[3] == 'A' ? 'B' : 'A';
  EXPECT_EQ(fault_of(altered), LinkFault::altered);
  LinkKey other = key_of_numbers();
  other[31] ^= 1;
  EXPECT_EQ(fault_of(token_of(claim_for("anna"), other)), LinkFault::altered);
  EXPECT_EQ(fault_of(token, LinkPurpose::shelve), LinkFault::other_purpose);
  LinkClaim shelve = claim_for("anna");
  shelve.purpose = LinkPurpose::shelve;
  EXPECT_EQ(fault_of(token_of(shelve, key_of_numbers())), LinkFault::other_purpose);
  EXPECT_EQ(fault_of(token, LinkPurpose::acknowledge, raised + link_for), LinkFault::expired);
  EXPECT_TRUE(claim_of(token, LinkPurpose::acknowledge, key_of_numbers(), raised + link_for - std::chrono::milliseconds{1}));
}

// A name with a line end would pass for another claim.
TEST(ConfirmLink, is_not_made_for_a_name_that_could_be_read_otherwise) {
  EXPECT_EQ(token_of(claim_for("anna\nben"), key_of_numbers()), "");
  EXPECT_EQ(token_of(claim_for(""), key_of_numbers()), "");
}

TEST(ConfirmLink, takes_the_place_of_the_page_s_and_keeps_that_of_the_chart) {  // people would have to sign in at night
  const Links links = with_confirm_links(page_links("https://gateway.plant.example"), "https://gateway.plant.example", key_of_numbers());
  const std::string url = links.acknowledge({claim_for("anna").warning, raised, "anna", raised});
  const std::string before = "https://gateway.plant.example/confirm/";
  ASSERT_TRUE(url.starts_with(before)) << url;
  const auto claim = claim_of(std::string_view(url).substr(before.size()), LinkPurpose::acknowledge, key_of_numbers(), raised);
  ASSERT_TRUE(claim);
  EXPECT_EQ(*claim, claim_for("anna"));
  EXPECT_EQ(links.chart({claim_for("anna").warning, raised, "anna", raised}), "https://gateway.plant.example/station/northyard/ps-01");
}

TEST(LinkKeyFile, is_made_once_for_its_owner_alone) {  // links of the mails before a restart would be worthless; or anybody could sign
  const testing::TempFolder folder;
  const auto first = link_key_of(folder.file("link-key"));
  ASSERT_TRUE(first) << first.error();
  struct stat state {};
  ASSERT_EQ(::stat(folder.file("link-key").c_str(), &state), 0);
  EXPECT_EQ(state.st_mode & 0777, 0600U);
  EXPECT_EQ(state.st_size, 32);
  EXPECT_EQ(*link_key_of(folder.file("link-key")), *first);
  EXPECT_NE(*link_key_of(folder.file("another")), *first);
  ASSERT_EQ(::chmod(folder.file("link-key").c_str(), 0640), 0);
  EXPECT_FALSE(link_key_of(folder.file("link-key")));
}

TEST(LinkKeyFile, that_is_no_key_is_refused) {  // half a key would sign all links with what anybody can guess
  const testing::TempFolder folder;
  for (const std::string& content : std::vector{std::string(), std::string(31, 'k'), std::string(33, 'k')}) {
    folder.write("link-key", content);
    ASSERT_EQ(::chmod(folder.file("link-key").c_str(), 0600), 0);
    EXPECT_FALSE(link_key_of(folder.file("link-key"))) << content.size();
  }
  EXPECT_FALSE(link_key_of(folder.file("no/folder/link-key")));
}

}  // namespace
}  // namespace driftline::messages
