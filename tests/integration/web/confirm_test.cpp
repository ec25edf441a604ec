// The page behind the link of a message, over HTTP.
#include <gtest/gtest.h>

#include "gateway/history/reader.h"
#include "gateway/messages/confirm.h"
#include "tests/integration/web/page_fixture.h"

namespace driftline::testing {
namespace {

using messages::LinkClaim;
using messages::LinkPurpose;

class ConfirmPage : public PageTest {
 protected:
  ConfirmPage() {
    link_key_.emplace();
    link_key_->fill(7);
    commit(small_history());
  }
  [[nodiscard]] LinkClaim claim(const std::string& person) const {
    return {LinkPurpose::acknowledge, {{"northyard", "ps-01"}, 2, Condition::slow_to_pressure}, now_ - std::chrono::hours{3}, now_ + std::chrono::hours{1}, person};
  }
  [[nodiscard]] std::string link(const LinkClaim& of) const { return "/confirm/" + messages::token_of(of, *link_key_); }
  [[nodiscard]] std::string link(const std::string& person) const { return link(claim(person)); }
  // As a browser sends a form that a page without a referrer has.
  [[nodiscard]] RawAnswer press(const std::string& path, const std::string& headers = "Origin: null\r\n") const {
    return ask(port(), "POST " + path + " HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 0\r\nConnection: close\r\n" + headers + "\r\n");
  }
  [[nodiscard]] std::vector<history::LifeChange> acts() const {
    std::vector<history::LifeChange> all;
    const auto rows = history::Reader::open(history_->file()).value()->life_changes_after(0, 99);
    for (const auto& stored : *rows)
      if (rules::of_people(stored.row.event)) all.push_back(stored.row);
    return all;
  }
  static bool has(const RawAnswer& answer, const std::string& words) { return answer.body.find(words) != std::string::npos; }
};

// A mail scanner that opens links would take every warning, and nobody would go.
TEST_F(ConfirmPage, opened_changes_nothing_and_pressed_once_takes_the_warning) {
  start();
  const std::string path = link("anna");
  for (int i = 0; i < 3; ++i) {
    const RawAnswer shown = get(path);
    EXPECT_EQ(shown.status, 200);
    EXPECT_TRUE(has(shown, "I take it") && has(shown, "ps-01, line 2") && has(shown, "anna")) << shown.body;
    EXPECT_EQ(ask(port(), request_text("HEAD", path), true).status, 200);
  }
  EXPECT_TRUE(acts().empty());
  const RawAnswer taken = press(path);
  EXPECT_EQ(taken.status, 200);
  EXPECT_TRUE(has(taken, "You have it")) << taken.body;
  ASSERT_EQ(acts().size(), 1U);
  EXPECT_EQ(acts()[0].who, "anna");
  EXPECT_EQ(acts()[0].via, "link");
  EXPECT_EQ(json("/api/v1/warnings/northyard/ps-01/line-2/slow-to-pressure")["owner"], "anna");
  for (const RawAnswer& again : {press(path), get(path)}) {
    EXPECT_EQ(again.status, 200);
    EXPECT_TRUE(has(again, "You have it") && !has(again, "<button")) << again.body;
  }
  for (const RawAnswer& late : {get(link("ben")), press(link("ben"))}) EXPECT_TRUE(has(late, "anna has it") && has(late, "You need not go") && !has(late, "<button")) << late.body;
  EXPECT_EQ(acts().size(), 1U);
}

// Nobody signs in at night; but the link must open nothing else.
TEST_F(ConfirmPage, needs_no_sign_in_where_all_else_does) {
  web::WebSettings settings;
  settings.users = {{"anna", web::Role::responder, "x"}};
  settings.hosts = {"gateway.plant.example"};
  start(settings);
  EXPECT_EQ(get("/api/v1/warnings").status, 401);
  EXPECT_EQ(ask(port(), "GET " + link("anna") + " HTTP/1.1\r\nHost: other.plant.example\r\nConnection: close\r\n\r\n").status, 200);
  EXPECT_TRUE(has(press(link("anna")), "You have it"));
}

// A copy of the link in a proxy's cache, a search engine or another site's log is as good as the link.
TEST_F(ConfirmPage, is_kept_nowhere_and_runs_nothing) {
  start();
  for (const RawAnswer& answer : {get(link("anna")), get("/confirm/nonsense"), press(link("anna"))}) {
    EXPECT_EQ(answer.headers.at("content-type"), "text/html; charset=utf-8");
    EXPECT_EQ(answer.headers.at("cache-control"), "no-store");
    EXPECT_EQ(answer.headers.at("referrer-policy"), "no-referrer");
    EXPECT_EQ(answer.headers.at("x-frame-options"), "DENY");
    EXPECT_EQ(answer.headers.at("x-content-type-options"), "nosniff");
    EXPECT_EQ(answer.headers.at("x-robots-tag"), "noindex, nofollow");
    EXPECT_TRUE(answer.headers.at("content-security-policy").starts_with("default-src 'none'; style-src 'sha256-"));
    EXPECT_FALSE(answer.headers.contains("set-cookie"));
    EXPECT_FALSE(has(answer, "<script") || has(answer, "http://") || has(answer, "https://")) << answer.body;
  }
}

// "Not found" at night sends people to bed.
TEST_F(ConfirmPage, of_a_link_that_does_not_hold_says_why_and_changes_nothing) {
  start();
  LinkClaim expired = claim("anna");
  expired.expires = now_;
  LinkClaim other = claim("anna");
  other.purpose = LinkPurpose::shelve;
  std::string altered = link("anna");
  altered[20] = altered[20] == 'A' ? 'B' : 'A';
  LinkClaim earlier = claim("anna");
  earlier.raised -= std::chrono::hours{24};
  const std::vector<std::tuple<std::string, int, std::string>> all{{link(expired), 410, "has expired"},
                                                                   {link(other), 403, "for something else"},
                                                                   {altered, 403, "does not hold"},
                                                                   {link("anna").substr(0, 70), 404, "not whole"},
                                                                   {"/confirm/nonsense", 404, "not whole"},
                                                                   {link(earlier), 409, "raised again since"}};
  for (const auto& [path, status, words] : all)
    for (const RawAnswer& answer : {get(path), press(path)}) {
      EXPECT_EQ(answer.status, status) << path;
      EXPECT_TRUE(has(answer, words) && !has(answer, "<button")) << answer.body;
    }
  EXPECT_EQ(get("/confirm").status, 404);
  EXPECT_EQ(get("/confirm/a/b").status, 404);
  EXPECT_EQ(ask(port(), request_text("DELETE", link("anna"))).status, 405);
  EXPECT_TRUE(acts().empty());
}

// Who presses late would drive out for nothing.
TEST_F(ConfirmPage, of_a_warning_that_is_over_says_so) {
  start();
  history::Batch batch = small_history();
  WarningChange over = batch.warnings.back();
  over.change = Change::cleared;
  over.time = now_ - std::chrono::minutes{5};
  batch = {};
  batch.warnings.push_back(over);
  commit(batch);
  EXPECT_TRUE(has(get(link("anna")), "This warning is over") && has(get(link("anna")), "I have seen it"));
  EXPECT_TRUE(has(press(link("anna")), "anna had taken it"));
  const RawAnswer later = get(link("ben"));
  EXPECT_TRUE(has(later, "This warning is over") && !has(later, "<button")) << later.body;
  EXPECT_EQ(acts().size(), 1U);
}

// A name is no HTML.
TEST_F(ConfirmPage, shows_names_as_they_are) {
  start();
  const RawAnswer shown = get(link("<b>O'Neil & \"co\"</b>"));
  EXPECT_TRUE(has(shown, "&lt;b&gt;O&#39;Neil &amp; &quot;co&quot;&lt;/b&gt;")) << shown.body;
}

// Whoever tries links for fun would keep the history busy.
TEST_F(ConfirmPage, is_not_opened_without_end_from_one_address) {
  start();
  int refused = 0;
  for (int i = 0; i < 70; ++i) {
    const RawAnswer answer = get("/confirm/nonsense");
    if (answer.status != 429) continue;
    ++refused;
    EXPECT_TRUE(answer.headers.contains("retry-after"));
  }
  EXPECT_GT(refused, 0);
}

TEST_F(ConfirmPage, without_a_key_there_is_none) {
  const std::string path = link("anna");
  link_key_.reset();
  start();
  EXPECT_EQ(get(path).status, 404);
}

}  // namespace
}  // namespace driftline::testing
