// What the API answers, against its document and over real sockets.
#include <fstream>
#include <set>

#include "gateway/web/limits.h"
#include "gateway/web/passwords.h"
#include "tests/integration/web/page_fixture.h"
#include "tests/support/eventually.h"

namespace driftline::testing {
namespace {

using Json = nlohmann::json;

class Api : public PageTest {
 protected:
  void SetUp() override {
    commit(small_history());
    start();
    ASSERT_TRUE(eventually([&] { return json("/api/v1/fleet")["strip"]["complete"] == true; }));
  }
};

std::string station_path(const std::string& rest = {}) { return "/api/v1/stations/northyard/ps-01" + rest; }

// A client made from the document would meet members that are not there, or miss those that are.
TEST_F(Api, answers_as_its_document_says) {
  const std::string turn = std::to_string(json(station_path("/turns"))["lines"][1]["id"].back().get<int>());
  const std::vector<std::pair<std::string, std::string>> asked{
      {"Session", "/api/v1/session"},
      {"Fleet", "/api/v1/fleet"},
      {"Fleet", "/api/v1/fleet?strips=1"},
      {"Strips", "/api/v1/fleet/strips?of=northyard/ps-01,northyard/ps-99"},
      {"Heard", "/api/v1/fleet/heard?of=northyard/ps-01,northyard/ps-99"},
      {"Station", station_path()},
      {"Station", "/api/v1/stations/southyard/ps-11"},
      {"Turns", station_path("/turns")},
      {"Turns", station_path("/turns?line=2&points=20")},
      {"TurnDetail", station_path("/turns/" + turn)},
      {"ReservoirDays", station_path("/reservoir")},
      {"ForecastDays", station_path("/forecasts")},
      {"Notes", station_path("/notes")},
      {"Thresholds", station_path("/thresholds")},
      {"Warnings", "/api/v1/warnings"},
      {"Warnings", "/api/v1/warnings?state=all&site=northyard"},
      {"Warning", "/api/v1/warnings/northyard/ps-01/line-2/slow-to-pressure"},
      {"WhoHears", "/api/v1/warnings/northyard/ps-01/line-2/slow-to-pressure/who"},
      {"Messages", "/api/v1/messages"},
      {"RefillRound", "/api/v1/refill-round?days=14"},
      {"Gateway", "/api/v1/gateway"},
  };
  for (const auto& [schema, path] : asked) EXPECT_EQ(departs(schema, json(path)), "") << path;
}

// The check above would pass whatever came.
TEST_F(Api, the_check_against_the_document_can_fail) {
  Json session = json("/api/v1/session");
  session["surprise"] = 1;
  EXPECT_NE(departs("Session", session), "");
  session.erase("surprise");
  session["now_ms"] = "today";
  EXPECT_NE(departs("Session", session), "");
}

// The page's tests read these: they would prove a page for another API.
TEST_F(Api, the_samples_of_the_page_s_tests_are_as_the_document_says) {
  for (const auto& [name, schema] : std::map<std::string, std::string>{
           {"fleet", "Fleet"}, {"forecasts", "ForecastDays"}, {"gateway", "Gateway"}, {"notes", "Notes"}, {"problem", "Problem"}, {"refill-round", "RefillRound"},
           {"messages", "Messages"}, {"reservoir", "ReservoirDays"}, {"session", "Session"}, {"station", "Station"}, {"strips", "Strips"}, {"thresholds", "Thresholds"}, {"turn", "TurnDetail"},
           {"turns", "Turns"}, {"who", "WhoHears"}, {"warning", "Warning"}, {"warnings", "Warnings"}}) {
    std::ifstream file(std::string(DRIFTLINE_SOURCE_DIR) + "/tests/page/samples/" + name + ".json");
    EXPECT_EQ(departs(schema, Json::parse(file, nullptr, false)), "") << name;
  }
}

// A list whose columns slip against each other tells one station's trouble of another.
TEST_F(Api, the_columns_of_the_list_belong_together) {
  const Json fleet = json("/api/v1/fleet");
  for (const auto& [name, column] : fleet["columns"].items()) EXPECT_EQ(column.size(), 2U) << name;
  EXPECT_EQ(fleet["columns"]["station"], Json({"ps-01", "ps-11"}));
  EXPECT_EQ(fleet["columns"]["urgency"], Json({1, nullptr}));
  EXPECT_EQ(fleet["columns"]["line"], Json({2, nullptr}));
  EXPECT_EQ(fleet["columns"]["heard_s"][0], 4);
  EXPECT_EQ(fleet["columns"]["limit_days"][0], 9.0);
  EXPECT_EQ(fleet["head"]["plan"], 1);
  EXPECT_EQ(fleet["head"]["watched"], 2);
  EXPECT_EQ(fleet["head"]["oldest_unanswered"]["key"], "northyard/ps-01/line-2/slow-to-pressure");
  EXPECT_EQ(fleet["strips"].size(), 2U);
  EXPECT_EQ(fleet["strips"][0][0].back(), 0);
  EXPECT_GT(fleet["strips"][0][1].back(), 0);
}

// A turn laid over one that was ill already would look well.
TEST_F(Api, a_turn_is_laid_over_one_from_before_its_warning) {
  const Json turns = json(station_path("/turns?line=2"))["lines"][0];
  const Json turn = json(station_path("/turns/" + std::to_string(turns["id"].back().get<int>())));
  EXPECT_EQ(turn["turn"]["time_to_pressure_s"], 99);
  ASSERT_TRUE(turn["healthy"].is_object()) << turn["healthy_why"];
  EXPECT_EQ(turn["healthy"]["after_s"].back(), 88);
  EXPECT_LE(turn["healthy"]["pump_start_ms"], turns["pump_start_ms"][turns["pump_start_ms"].size() - 6]);
  EXPECT_TRUE(turn["next_id"].is_null());
  EXPECT_EQ(turn["previous_id"], turns["id"][turns["id"].size() - 2]);
}

// Somebody would drive out for nothing, or too late, or with too little grease.
TEST_F(Api, the_refill_round_names_who_runs_low_and_how_much_to_bring) {
  const Json soon = json("/api/v1/refill-round?days=7");
  ASSERT_EQ(soon["visits"].size(), 1U);
  EXPECT_EQ(soon["visits"][0]["station"], "ps-11");
  EXPECT_TRUE(soon["visits"][0]["kg"].is_null());  // nobody said how large its reservoir is
  EXPECT_EQ(soon["unknown_amount"], 1);
  const Json later = json("/api/v1/refill-round?days=30");
  ASSERT_EQ(later["visits"].size(), 2U);
  const Json first = later["visits"][0];
  // 61 % at midnight six hours ago, 2.4 % a day, the early end 21 days from then: at the visit 61 - 2.4 * 20 % of 15 kg are left.
  EXPECT_EQ(first["visit_by_ms"].get<std::int64_t>() % 86'400'000, 0);
  EXPECT_NEAR(first["kg"].get<double>(), 15 * (1 - (0.61 - 0.024 * 19.75)), 0.5);
  EXPECT_NEAR(first["litres"].get<double>(), first["kg"].get<double>() / 0.9, 0.1);
}

// A report that a spreadsheet cannot open.
TEST_F(Api, lists_come_as_csv_too) {
  for (const std::string path : {"/api/v1/warnings?state=all&format=csv", "/api/v1/fleet?format=csv", "/api/v1/warnings?format=csv", "/api/v1/refill-round?format=csv&days=30", "/api/v1/stations/northyard/ps-01/turns?format=csv",
                                 "/api/v1/stations/northyard/ps-01/reservoir?format=csv", "/api/v1/stations/northyard/ps-01/forecasts?format=csv"}) {
    const RawAnswer answer = get(path);
    EXPECT_EQ(answer.status, 200) << path;
    EXPECT_EQ(answer.headers.at("content-type"), "text/csv; charset=utf-8");
    const auto commas = [&](std::size_t line) {
      std::size_t at = 0;
      for (; line > 0; --line) at = answer.body.find("\r\n", at) + 2;
      const std::string text = answer.body.substr(at, answer.body.find("\r\n", at) - at);
      bool quoted = false;
      return std::count_if(text.begin(), text.end(), [&](char c) { return c == '"' ? (quoted = !quoted, false) : c == ',' && !quoted; });
    };
    EXPECT_EQ(commas(0), commas(1)) << path;
  }
}

TEST_F(Api, pictures_are_svg) {  // what goes into a report must open there
  const std::string turn = std::to_string(json(station_path("/turns"))["lines"][1]["id"].back().get<int>());
  for (const std::string& path : {station_path("/chart.svg"), station_path("/chart.svg?figure=level_pct&theme=dark&width=400"), station_path("/turns/" + turn + "/curve.svg")}) {
    const RawAnswer answer = get(path);
    EXPECT_EQ(answer.status, 200) << path;
    EXPECT_EQ(answer.headers.at("content-type"), "image/svg+xml");
    EXPECT_TRUE(answer.body.starts_with("<svg ") && answer.body.ends_with("</svg>\n"));
  }
}

// "Internal error" helps nobody: what, where, and what would be right.
TEST_F(Api, what_cannot_be_answered_says_what_where_and_what_would_be_right) {
  for (const auto& [path, status] : std::map<std::string, int>{{"/api/v1/stations/northyard/ps-99", 404},
                                                               {"/api/v1/stations/northyard/ps-01/turns?from_ms=tomorrow", 400},
                                                               {"/api/v1/stations/northyard/ps-01/turns?lien=2", 400},
                                                               {"/api/v1/stations/northyard/ps-01/turns?line=9", 400},
                                                               {"/api/v1/stations/northyard/ps-01/turns/0", 404},
                                                               {"/api/v1/stations/northyard/ps-01/turns/99999", 404},
                                                               {"/api/v1/stations/northyard/ps-01/turns?from_ms=2&to_ms=1", 400},
                                                               {"/api/v1/warnings?state=some", 400},
                                                               {"/api/v1/warnings/northyard/ps-01/line-9/slow-to-pressure", 404},
                                                               {"/api/v1/warnings/northyard/ps-01/line-1/slow-to-pressure", 404},
                                                               {"/api/v1/fleet?strips=101", 400},
                                                               {"/api/v1/fleet/strips", 400},
                                                               {"/api/v1/fleet/strips?of=x", 400},
                                                               {"/api/v1/live?station=northyard", 400},
                                                               {"/api/v1/nothing", 404}}) {
    const RawAnswer answer = get(path);
    EXPECT_EQ(answer.status, status) << path;
    EXPECT_EQ(answer.headers.at("content-type"), "application/problem+json") << path;
    const Json problem = Json::parse(answer.body, nullptr, false);
    EXPECT_EQ(departs("Problem", problem), "") << path;
    EXPECT_EQ(problem["status"], status);
    EXPECT_NE(problem["detail"], "");
  }
}

// Grease that was filled in and is not known of: the rules would go on counting down.
TEST_F(Api, a_note_becomes_a_message_on_the_station_s_service_topic) {
  const RawAnswer answer = post(station_path("/notes"), {{"kind", "refilled"}, {"note", "drum \"4\""}, {"by", "anna"}});
  ASSERT_EQ(answer.status, 202) << answer.body;
  EXPECT_EQ(departs("Accepted", Json::parse(answer.body)), "");
  ASSERT_EQ(posted_.size(), 1U);
  EXPECT_EQ(posted_[0].first, "grease/northyard/ps-01/service");
  EXPECT_EQ(Json::parse(posted_[0].second), Json({{"time", "2026-03-03T06:00:00.000Z"}, {"kind", "refilled"}, {"note", "drum \"4\""}, {"by", "anna"}}));
  EXPECT_EQ(post(station_path("/notes"), {{"kind", "painted"}, {"by", "anna"}}).status, 400);
  EXPECT_EQ(post(station_path("/notes"), {{"kind", "refilled"}}).status, 400);  // nobody said who
  EXPECT_EQ(post(station_path("/notes"), {{"kind", "refilled"}, {"by", "anna"}, {"time_ms", 0}}).status, 400);
  EXPECT_EQ(post("/api/v1/stations/northyard/ps-99/notes", {{"kind", "refilled"}, {"by", "anna"}}).status, 404);
  EXPECT_EQ(posted_.size(), 1U);
  journal_takes_ = false;
  EXPECT_EQ(post(station_path("/notes"), {{"kind", "refilled"}, {"by", "anna"}}).status, 503);
}

// A duty list that rings on though somebody is on the way; and nobody knows who.
TEST_F(Api, acts_on_a_warning_are_taken_with_the_name_and_change_the_list) {
  const std::string key = "/api/v1/warnings/northyard/ps-01/line-2/slow-to-pressure";
  const std::int64_t revision = json("/api/v1/fleet")["revision"];
  const RawAnswer answer = post(key + "/acts", {{"act", "acknowledge"}, {"note", "on my way"}, {"by", "anna"}});
  ASSERT_EQ(answer.status, 200) << answer.body;
  const Json warning = Json::parse(answer.body);
  EXPECT_EQ(departs("Warning", warning), "");
  EXPECT_EQ(warning["life"], "acknowledged");
  EXPECT_EQ(warning["owner"], "anna");
  EXPECT_EQ(warning["acts"].back()["act"], "acknowledge");
  EXPECT_EQ(warning["acts"].back()["note"], "on my way");
  EXPECT_EQ(warning["acts"].back()["via"], "page");
  wait_for_revision(revision);
  EXPECT_EQ(json("/api/v1/fleet")["head"]["unanswered"], 0);
  EXPECT_TRUE(json("/api/v1/warnings?state=unanswered")["warnings"].empty());
  EXPECT_EQ(json("/api/v1/warnings")["warnings"].size(), 1U);
  EXPECT_EQ(post(key + "/acts", {{"act", "acknowledge"}, {"by", "rolf"}}).status, 200);  // twice is no mistake
  EXPECT_EQ(json(key)["owner"], "anna");
  EXPECT_EQ(post(key + "/acts", {{"act", "shelve"}, {"by", "anna"}}).status, 400);  // without an end
  EXPECT_EQ(post(key + "/acts", {{"act", "shelve"}, {"by", "anna"}, {"until_ms", ms_since_1970(now_) + 3'600'000}}).status, 200);
  EXPECT_EQ(json(key)["life"], "shelved");
  EXPECT_EQ(json(key)["shelved_until_ms"], ms_since_1970(now_) + 3'600'000);
  EXPECT_EQ(post(key + "/acts", {{"act", "note"}, {"by", "anna"}}).status, 400);  // without words
  EXPECT_EQ(post(key + "/acts", {{"act", "acknowledge"}, {"by", "anna"}, {"raised_ms", 1}}).status, 409);
  EXPECT_EQ(post(key + "/acts", {{"act", "paint"}, {"by", "anna"}}).status, 400);
  EXPECT_EQ(post("/api/v1/warnings/northyard/ps-01/line-1/slow-vent/acts", {{"act", "acknowledge"}, {"by", "anna"}}).status, 404);
}

// A channel that is dead would look as if there were nothing to say; and people's numbers would be read by everybody.
TEST_F(Api, messages_are_told_by_their_warning_with_the_state_of_their_channel_and_no_address) {
  history::MessageRow row;
  row.key = "one";
  row.made = row.due = now_ - std::chrono::hours{1};
  row.person = "anna";
  row.channel = "mail";
  row.address = "anna@plant.example";
  row.urgency = Urgency::act;
  row.warning = history::WarningRef{{"northyard", "ps-01"}, 2, Condition::slow_to_pressure};
  auto digest = row;
  digest.key = "two";
  digest.warning.reset();
  digest.kind = history::MessageKind::digest;
  digest.due = now_ + std::chrono::hours{1};
  const history::MessageRow rows[]{row, digest};
  ASSERT_TRUE(history_->plan_messages(rows).has_value());
  const Json all = json("/api/v1/messages");
  EXPECT_EQ(departs("Messages", all), "");
  EXPECT_EQ(all["messages"].size(), 2U);
  EXPECT_EQ(all["channels"][0]["channel"], "mail");
  EXPECT_EQ(all["channels"][0]["due"], 1);
  EXPECT_EQ(all["channels"][0]["oldest_due_ms"], ms_since_1970(row.due));
  EXPECT_EQ(all.dump().find("plant.example"), std::string::npos);
  const Json of_it = json("/api/v1/messages?warning=northyard/ps-01/line-2/slow-to-pressure");
  ASSERT_EQ(of_it["messages"].size(), 1U);
  EXPECT_EQ(of_it["messages"][0]["person"], "anna");
  EXPECT_EQ(get("/api/v1/messages?limit=501").status, 400);
}

// Who is called at night would be known only when it happens.
TEST_F(Api, who_hears_of_a_warning_is_answered_for_any_time) {
  const std::string path = "/api/v1/warnings/northyard/ps-01/line-2/slow-to-pressure/who";
  const Json now = json(path);
  EXPECT_EQ(now["duty"], true);
  EXPECT_EQ(now["urgency"], "plan");
  EXPECT_EQ(now["at_ms"], ms_since_1970(now_));
  EXPECT_EQ(now["people"], Json::parse(R"([{"name":"anna","channels":["mail"]}])"));
  const Json then = json(path + "?urgency=act&at_ms=1772600000000");
  EXPECT_EQ(then["urgency"], "act");
  EXPECT_EQ(then["at_ms"], 1772600000000);
  EXPECT_EQ(get("/api/v1/warnings/northyard/ps-01/line-1/slow-vent/who").status, 404);
  EXPECT_EQ(get(path + "?urgency=now").status, 400);
}

// A page of somebody else's that is open beside ours would act in our name.
TEST_F(Api, unsafe_requests_need_the_token_and_the_page_s_own_origin) {
  const std::string token = json("/api/v1/session")["token"];
  const std::string body = R"({"kind":"purged","by":"anna"})";
  const auto status = [&](const std::string& headers) { return ask(port(), request_text("POST", station_path("/notes"), headers, body)).status; };
  EXPECT_EQ(status(""), 403);
  EXPECT_EQ(status("X-Driftline-Token: " + std::string(token.size(), '0') + "\r\n"), 403);
  EXPECT_EQ(status("X-Driftline-Token: " + token + "\r\nOrigin: https://elsewhere.example\r\n"), 403);
  EXPECT_EQ(status("X-Driftline-Token: " + token + "\r\nOrigin: null\r\n"), 403);
  EXPECT_EQ(status("X-Driftline-Token: " + token + "\r\nSec-Fetch-Site: cross-site\r\n"), 403);
  EXPECT_EQ(status("X-Driftline-Token: " + token + "\r\nOrigin: http://127.0.0.1\r\n"), 202);
  // A name that leads to our address and is not ours: its pages count as of the same origin.
  RawClient rebound(port());
  ASSERT_TRUE(rebound.send("GET /api/v1/session HTTP/1.1\r\nHost: elsewhere.example\r\n\r\n"));
  EXPECT_EQ(rebound.answer()->status, 403);
  EXPECT_EQ(ask(port(), "POST " + station_path("/notes") + " HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: text/plain\r\nX-Driftline-Token: " + token +
                            "\r\nContent-Length: " + std::to_string(body.size()) + "\r\n\r\n" + body)
                .status,
            415);
}

class SignedInApi : public PageTest {
 protected:
  void SetUp() override {
    commit(small_history());
    web::WebSettings settings;
    const std::string hash = web::hashed_password("correct horse").value();
    settings.users = {{"vera", web::Role::viewer, hash}, {"rolf", web::Role::responder, hash}};
    settings_ = settings;
    start(settings);
  }
  RawAnswer sign_in(const std::string& user, const std::string& password, const std::string& headers = {}) const {
    return ask(port(), request_text("POST", "/api/v1/session", headers, Json({{"user", user}, {"password", password}}).dump()));
  }
  static std::string cookie_of(const RawAnswer& answer) {
    const std::string& set = answer.headers.at("set-cookie");
    return "Cookie: " + set.substr(0, set.find(';')) + "\r\n";
  }
  web::WebSettings settings_;
};

// Whoever reaches the port would read the plant.
TEST_F(SignedInApi, nothing_but_the_session_is_read_by_who_has_not_signed_in) {
  EXPECT_EQ(get("/api/v1/session").status, 200);
  EXPECT_EQ(json("/api/v1/session")["signed_in"], false);
  EXPECT_TRUE(json("/api/v1/session")["token"].is_null());
  for (const std::string path : {"/api/v1/fleet", "/api/v1/warnings", "/api/v1/live", "/api/v1/gateway", "/api/v1/stations/northyard/ps-01"}) EXPECT_EQ(get(path).status, 401) << path;
}

TEST_F(SignedInApi, the_cookie_is_kept_from_scripts_and_other_sites) {  // a stolen cookie is a stolen session
  const RawAnswer answer = sign_in("rolf", "correct horse");
  ASSERT_EQ(answer.status, 200) << answer.body;
  const std::string& set = answer.headers.at("set-cookie");
  for (const char* const part : {"HttpOnly", "SameSite=Strict", "Path=/"}) EXPECT_NE(set.find(part), std::string::npos) << set;
  EXPECT_EQ(set.find("Secure"), std::string::npos);
  EXPECT_EQ(sign_in("rolf", "correct horse", "Origin: https://elsewhere.example\r\n").status, 403);
}

// A viewer who can take a station out of service.
TEST_F(SignedInApi, roles_hold_and_the_name_is_the_one_who_signed_in) {
  const std::string vera = cookie_of(sign_in("vera", "correct horse"));
  const std::string rolf = cookie_of(sign_in("rolf", "correct horse"));
  EXPECT_EQ(get("/api/v1/fleet", vera).status, 200);
  const Json body{{"kind", "purged"}, {"by", "somebody else"}};
  EXPECT_EQ(post("/api/v1/stations/northyard/ps-01/notes", body, vera).status, 403);
  const RawAnswer noted = post("/api/v1/stations/northyard/ps-01/notes", body, rolf);
  ASSERT_EQ(noted.status, 202) << noted.body;
  EXPECT_EQ(Json::parse(noted.body)["by"], "rolf");
  EXPECT_EQ(Json::parse(posted_.at(0).second)["by"], "rolf");
}

// A user that was taken out would go on reading.
TEST_F(SignedInApi, a_session_ends_with_its_user_its_password_and_its_sign_out) {
  const std::string vera = cookie_of(sign_in("vera", "correct horse"));
  const std::string rolf = cookie_of(sign_in("rolf", "correct horse"));
  settings_.users.erase(settings_.users.begin());
  web_->reload(settings_);
  EXPECT_EQ(get("/api/v1/gateway", vera).status, 401);
  EXPECT_EQ(get("/api/v1/gateway", rolf).status, 200);
  const std::string token = Json::parse(get("/api/v1/session", rolf).body)["token"];
  EXPECT_EQ(ask(port(), request_text("DELETE", "/api/v1/session", rolf + "X-Driftline-Token: " + token + "\r\n")).status, 204);
  EXPECT_EQ(get("/api/v1/gateway", rolf).status, 401);
}

// Each update of the gateway would sign everybody out, at night the technician on call.
TEST_F(SignedInApi, a_restart_signs_nobody_out_and_nobody_in) {
  const std::string vera = cookie_of(sign_in("vera", "correct horse"));
  const std::string rolf = cookie_of(sign_in("rolf", "correct horse"));
  const std::string token = Json::parse(get("/api/v1/session", rolf).body)["token"];
  EXPECT_EQ(ask(port(), request_text("DELETE", "/api/v1/session", vera + "X-Driftline-Token: " + Json::parse(get("/api/v1/session", vera).body)["token"].get<std::string>() + "\r\n")).status, 204);
  web_->stop();
  start(settings_);
  EXPECT_EQ(get("/api/v1/gateway", rolf).status, 200);
  EXPECT_EQ(Json::parse(get("/api/v1/session", rolf).body)["token"], token);
  EXPECT_EQ(get("/api/v1/gateway", vera).status, 401);
  web_->stop();
  settings_.users.back().password_hash = web::hashed_password("another horse").value();
  start(settings_);
  EXPECT_EQ(get("/api/v1/gateway", rolf).status, 401);
}

// A password can be tried out by the thousand.
TEST_F(SignedInApi, after_some_failures_attempts_have_to_wait) {
  for (int i = 0; i < web::sign_in_failures_free; ++i) EXPECT_EQ(sign_in(i % 2 == 0 ? "rolf" : "nobody", "wrong password").status, 401);
  const RawAnswer answer = sign_in("rolf", "correct horse");
  EXPECT_EQ(answer.status, 429);
  EXPECT_GT(std::stoi(answer.headers.at("retry-after")), 0);
}

// Whoever writes a new address into each attempt could try passwords by the thousand.
TEST_F(SignedInApi, behind_a_proxy_the_address_is_what_the_proxy_says_and_not_what_the_client_does) {
  web_->stop();
  settings_.trusted_proxies = {"127.0.0.1"};
  start(settings_);
  const auto attempt = [&](int i) {
    return sign_in("user" + std::to_string(i), "wrong password", "X-Forwarded-For: 10.1.0." + std::to_string(i) + "\r\nX-Forwarded-For: 192.0.2.7\r\n").status;
  };
  for (int i = 0; i < web::sign_in_failures_free; ++i) EXPECT_EQ(attempt(i), 401);
  EXPECT_EQ(attempt(99), 429);
  EXPECT_EQ(sign_in("rolf", "correct horse", "X-Forwarded-For: 192.0.2.8\r\n").status, 200);
}

// Everybody in the building would be an engineer.
TEST(PageSettings, without_users_the_page_listens_on_loopback_only) {
  web::WebSettings settings;
  EXPECT_FALSE(web::problem_of(settings));
  settings.address = "::1";
  EXPECT_FALSE(web::problem_of(settings));
  for (const char* const address : {"0.0.0.0", "::", "192.0.2.7"}) {
    settings.address = address;
    EXPECT_TRUE(web::problem_of(settings)) << address;
  }
  settings.users.push_back({"vera", web::Role::viewer, "x"});
  EXPECT_FALSE(web::problem_of(settings));
}

}  // namespace
}  // namespace driftline::testing
