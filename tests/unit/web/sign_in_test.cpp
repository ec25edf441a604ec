#include <gtest/gtest.h>

#include "gateway/web/limits.h"
#include "gateway/web/passwords.h"
#include "gateway/web/sessions.h"

namespace driftline::web {
namespace {

using std::chrono::hours;
using std::chrono::seconds;

const User anna{"anna", Role::responder, "hash"};

// Somebody who guesses or reads a cookie's hash would be signed in.
TEST(SignedIn, only_the_value_that_was_given_opens_the_session) {
  Sessions sessions;
  const std::string value = sessions.open(anna, seconds{0});
  ASSERT_EQ(value.size(), 64U);
  const auto session = sessions.find(value, seconds{1});
  ASSERT_TRUE(session);
  EXPECT_EQ(session->user, "anna");
  EXPECT_NE(session->token, value);
  EXPECT_FALSE(sessions.find("", seconds{1}));
  EXPECT_FALSE(sessions.find(std::string(64, '0'), seconds{1}));
  sessions.close(value);
  EXPECT_FALSE(sessions.find(value, seconds{1}));
}

// A browser that was left open would stay signed in for ever.
TEST(SignedIn, an_idle_session_ends_and_no_session_lasts_for_ever) {
  Sessions sessions;
  const std::string idle = sessions.open(anna, seconds{0});
  EXPECT_FALSE(sessions.find(idle, session_idle + seconds{1}));
  const std::string used = sessions.open(anna, seconds{0});
  std::chrono::nanoseconds at{0};
  for (; at < session_for; at += hours{6}) EXPECT_TRUE(sessions.find(used, at));
  EXPECT_FALSE(sessions.find(used, session_for + seconds{1}));
}

// Whoever signs in again and again would take all memory.
TEST(SignedIn, over_the_bound_the_one_idle_longest_ends) {
  Sessions sessions;
  const std::string first = sessions.open(anna, seconds{0});
  const std::string second = sessions.open(anna, seconds{1});
  for (std::size_t i = 2; i < sessions_max; ++i) (void)sessions.open(anna, seconds{2});
  EXPECT_TRUE(sessions.find(first, seconds{3}));
  (void)sessions.open(anna, seconds{4});
  EXPECT_TRUE(sessions.find(first, seconds{5}));
  EXPECT_FALSE(sessions.find(second, seconds{5}));
}

// A restart would sign everybody out, or keep those who had signed out or whose time was over.
TEST(SignedIn, goes_on_after_a_restart_for_those_who_were_and_for_no_longer) {
  const Time wall = time_from_ms(1'772'344'800'000);
  Sessions before;
  const std::string stays = before.open(anna, seconds{100});
  const std::string left = before.open(anna, seconds{100});
  const std::string idle = before.open(anna, seconds{100});
  auto first = before.take_changes(seconds{101}, wall);
  EXPECT_EQ(first.kept.size(), 3U);
  for (const auto& row : first.kept) EXPECT_TRUE(row.hash != stays && row.hash != left && row.hash != idle) << "the cookie itself is kept";
  EXPECT_TRUE(before.take_changes(seconds{102}, wall).empty());
  before.close(left);
  EXPECT_TRUE(before.find(stays, seconds{100} + hours{11}));
  const auto second = before.take_changes(seconds{100} + hours{11}, wall + hours{11});
  EXPECT_EQ(second.ended, std::vector<std::string>{hash_of(left)});
  ASSERT_EQ(second.kept.size(), 1U);
  before.put_back(second);
  EXPECT_EQ(before.take_changes(seconds{100} + hours{11}, wall + hours{11}).ended, second.ended);
  for (auto& row : first.kept)
    if (row.hash == second.kept.front().hash) row = second.kept.front();
  std::erase_if(first.kept, [&](const auto& row) { return row.hash == hash_of(left); });
  Sessions after;  // another clock, thirteen hours after the idle one was last used
  after.begin_with(first.kept, seconds{5}, wall + hours{13});
  const auto found = after.find(stays, seconds{6});
  ASSERT_TRUE(found);
  EXPECT_EQ(found->user, "anna");
  EXPECT_EQ(found->password, hash_of(anna.password_hash));
  EXPECT_FALSE(after.find(left, seconds{6}));
  EXPECT_FALSE(after.find(idle, seconds{6}));
  EXPECT_EQ(after.take_changes(seconds{7}, wall + hours{13}).ended, std::vector<std::string>{hash_of(idle)});
}

// Without a wait a password can be tried out.
TEST(SignInTries, each_failure_beyond_the_free_ones_doubles_the_wait) {
  SignInMarks marks;
  for (int i = 0; i < sign_in_failures_free; ++i) {
    EXPECT_EQ(marks.wait_s("10.0.0.1", "anna", seconds{i}), 0);
    marks.failed("10.0.0.1", "anna", seconds{i});
  }
  const seconds last{sign_in_failures_free - 1};
  EXPECT_EQ(marks.wait_s("10.0.0.1", "anna", last), sign_in_wait_first.count());
  marks.failed("10.0.0.1", "anna", last);
  EXPECT_EQ(marks.wait_s("10.0.0.1", "anna", last), 2 * sign_in_wait_first.count());
  EXPECT_EQ(marks.wait_s("10.0.0.1", "anna", last + 2 * sign_in_wait_first), 0);
  for (int i = 0; i < 40; ++i) marks.failed("10.0.0.1", "anna", last);
  EXPECT_EQ(marks.wait_s("10.0.0.1", "anna", last), sign_in_wait_max.count());
}

// One address trying all names, or many addresses trying one, would go round it.
TEST(SignInTries, count_for_the_address_and_for_the_name) {
  SignInMarks marks;
  for (int i = 0; i < sign_in_failures_free; ++i) marks.failed("10.0.0.1", "user" + std::to_string(i), seconds{0});
  EXPECT_GT(marks.wait_s("10.0.0.1", "another", seconds{0}), 0);
  EXPECT_EQ(marks.wait_s("10.0.0.2", "another", seconds{0}), 0);
  for (int i = 0; i < sign_in_failures_free; ++i) marks.failed("10.0.1." + std::to_string(i), "anna", seconds{0});
  EXPECT_GT(marks.wait_s("10.0.0.3", "anna", seconds{0}), 0);
  marks.succeeded("10.0.0.3", "anna");
  EXPECT_EQ(marks.wait_s("10.0.0.3", "anna", seconds{0}), 0);
}

TEST(SignInTries, what_is_remembered_is_bounded) {  // an address of six bytes a try would take all memory
  SignInMarks marks;
  for (std::size_t i = 0; i < sign_in_marks_max; ++i) marks.failed("a" + std::to_string(i), "u" + std::to_string(i), seconds{static_cast<int>(i)});
  for (int i = 0; i < sign_in_failures_free; ++i) marks.failed("last", "last", seconds{100'000});
  EXPECT_GT(marks.wait_s("last", "last", seconds{100'000}), 0);
}

// A cookie of another name that ends alike must not pass for ours.
TEST(CookieHeader, is_read_by_the_whole_name) {
  EXPECT_EQ(cookie_named("a=1; driftline_session=abc; b=2", "driftline_session"), "abc");
  EXPECT_EQ(cookie_named("driftline_session=abc", "driftline_session"), "abc");
  EXPECT_EQ(cookie_named("xdriftline_session=abc; driftline_sessio=q", "driftline_session"), "");
  EXPECT_EQ(cookie_named("", "driftline_session"), "");
}

// A password that is stored so that it can be read, or hashed fast, is a password that is lost with the file.
TEST(PasswordHash, is_argon2id_salted_and_fits_only_its_password) {
  const auto hash = hashed_password("correct horse");
  ASSERT_TRUE(hash);
  EXPECT_TRUE(hash->starts_with("$argon2id$v=19$m=65536,")) << *hash;  // RFC 9106: the parameters stand in the text
  EXPECT_TRUE(is_password_hash(*hash));
  EXPECT_NE(hashed_password("correct horse"), hash);
  EXPECT_TRUE(password_fits(*hash, "correct horse"));
  EXPECT_FALSE(password_fits(*hash, "correct hors"));
  EXPECT_FALSE(password_fits(hash_of_nobody(), "correct horse"));
  EXPECT_FALSE(password_fits("correct horse", "correct horse"));
  EXPECT_FALSE(is_password_hash("$2b$12$abcdefghijklmnopqrstuv"));
}

TEST(PasswordHash, a_short_password_is_no_password) {  // it would be guessed
  EXPECT_TRUE(problem_of_password("short"));
  EXPECT_TRUE(problem_of_password(std::string(password_bytes_max + 1, 'a')));
  EXPECT_TRUE(problem_of_password("with\x01control"));
  EXPECT_FALSE(problem_of_password("ten chars!"));
}

}  // namespace
}  // namespace driftline::web
