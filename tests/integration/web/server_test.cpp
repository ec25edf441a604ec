// What clients that do not behave get, and the live feed, over real sockets.
#include <thread>

#include "gateway/web/limits.h"
#include "gateway/web/page_files.h"
#include "gateway/web/passwords.h"
#include "tests/integration/web/page_fixture.h"
#include "tests/support/certificates.h"
#include "tests/support/eventually.h"
#include "tests/support/process.h"

namespace driftline::testing {
namespace {

using Json = nlohmann::json;

class Serving : public PageTest {
 protected:
  void SetUp() override {
    commit(small_history());
    start();
    ASSERT_TRUE(eventually([&] { return json("/api/v1/fleet")["strip"]["complete"] == true; }));
  }
  // The data of the next event of that name.
  static Json event(RawClient& client, const std::string& name, std::string* id = nullptr) {
    const std::string before = client.until("event: " + name + "\ndata: ");
    const auto at = before.rfind("\n\nid: ");
    const auto first = before.rfind("id: ");
    if (id != nullptr && first != std::string::npos) *id = before.substr((at == std::string::npos ? first : at + 2) + 4, before.find('\n', (at == std::string::npos ? first : at + 2)) - (at == std::string::npos ? first : at + 2) - 4);
    const std::string data = client.until("\n\n");
    return Json::parse(data, nullptr, false);
  }
};

// Two requests on one connection would mix their answers.
TEST_F(Serving, a_connection_is_used_again_and_answers_keep_their_order) {
  RawClient client(port());
  ASSERT_TRUE(client.send(request_text("GET", "/api/v1/gateway") + request_text("GET", "/api/v1/session")));
  EXPECT_TRUE(Json::parse(client.answer()->body).contains("broker"));
  EXPECT_TRUE(Json::parse(client.answer()->body).contains("signed_in"));
}

// A client that sends without end fills the memory.
TEST_F(Serving, what_is_too_large_is_refused_and_the_connection_closed) {
  const auto refused = [&](const std::string& bytes) {
    RawClient client(port());
    (void)client.send(bytes);
    const auto answer = client.answer();
    EXPECT_TRUE(client.closed());
    return answer ? answer->status : 0;
  };
  const std::string post = "POST /api/v1/stations/northyard/ps-01/notes HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n";
  EXPECT_EQ(refused("GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Long: " + std::string(web::header_bytes_max, 'a') + "\r\n\r\n"), 431);
  EXPECT_EQ(refused(post + "Content-Length: 100000000\r\n\r\n"), 413);
  EXPECT_EQ(refused(post + "Transfer-Encoding: chunked\r\n\r\n" + "10000\r\n" + std::string(0x10000, 'a') + "\r\n0\r\n\r\n"), 413);
  EXPECT_EQ(refused(post + "Transfer-Encoding: chunked\r\n\r\n-2\r\n"), 400);
  EXPECT_EQ(refused(post + "Content-Length: -1\r\n\r\n"), 400);
  EXPECT_EQ(refused("GET /\x01 HTTP/1.1\r\n\r\n"), 400);
  EXPECT_EQ(refused("\x16\x03\x01\x02\r\n\r\n"), 400);  // TLS to a port without
  EXPECT_EQ(ask(port(), request_text("GET", "/" + std::string(web::target_bytes_max + 1, 'a'))).status, 414);
  EXPECT_EQ(get("/api/v1/gateway").status, 200);  // and the rest goes on
}

TEST_F(Serving, methods_that_a_path_does_not_know_are_refused) {  // a PUT that is taken for a GET answers as if it had been done
  EXPECT_EQ(ask(port(), request_text("PUT", "/api/v1/fleet", "Content-Length: 0\r\n")).status, 405);
  EXPECT_EQ(ask(port(), request_text("POST", "/", "Content-Length: 0\r\n")).status, 405);
  EXPECT_EQ(ask(port(), request_text("OPTIONS", "/api/v1/fleet")).status, 405);
}

// The page inside somebody else's, or with somebody else's script in it.
TEST_F(Serving, every_answer_has_the_strict_headers) {
  for (const std::string path : {"/", "/api/v1/fleet", "/api/v1/nothing", "/nothing.js"}) {
    const RawAnswer answer = get(path);
    const std::string& policy = answer.headers.at("content-security-policy");
    EXPECT_NE(policy.find("default-src 'none'"), std::string::npos);
    EXPECT_NE(policy.find("frame-ancestors 'none'"), std::string::npos);
    EXPECT_EQ(policy.find("unsafe"), std::string::npos);
    EXPECT_EQ(answer.headers.at("x-content-type-options"), "nosniff");
    EXPECT_EQ(answer.headers.at("referrer-policy"), "no-referrer");
    EXPECT_EQ(answer.headers.at("cross-origin-opener-policy"), "same-origin");
    EXPECT_FALSE(answer.headers.contains("server"));
  }
}

TEST_F(Serving, what_a_browser_has_already_is_not_sent_again) {  // each visit would cost the whole list
  const RawAnswer first = get("/api/v1/fleet", "Accept-Encoding: gzip\r\n");
  EXPECT_EQ(first.headers.at("content-encoding"), "gzip");
  const RawAnswer again = get("/api/v1/fleet", "Accept-Encoding: gzip\r\nIf-None-Match: " + first.headers.at("etag") + "\r\n");
  EXPECT_EQ(again.status, 304);
  EXPECT_EQ(again.body, "");
  const RawAnswer head = ask(port(), request_text("HEAD", "/api/v1/fleet"), true);
  EXPECT_EQ(head.status, 200);
  EXPECT_GT(std::stoi(head.headers.at("content-length")), 100);
}

// A path of the client's that reaches the file system.
TEST_F(Serving, files_are_those_of_the_page_and_no_others) {
  for (const std::string path : {"/etc/passwd", "/..%2f..%2fetc/passwd", "/%2e%2e/etc/passwd", "/page_files.cpp", "/history.db"}) {
    const RawAnswer answer = get(path);
    EXPECT_EQ(answer.body.find("root:"), std::string::npos) << path;
    EXPECT_TRUE(path == "/etc/passwd" || answer.status != 200) << path;  // without a dot it is a view of the page
  }
  if (web::page_files().empty()) GTEST_SKIP() << "built without npm";
  EXPECT_EQ(get("/").headers.at("content-type"), "text/html; charset=utf-8");
  EXPECT_EQ(get("/warnings").headers.at("etag"), get("/").headers.at("etag"));
  for (const web::PageFile& file : web::page_files()) {
    const RawAnswer answer = get(std::string(file.path));
    EXPECT_EQ(answer.status, 200) << file.path;
    EXPECT_EQ(answer.body.size(), file.gzip_size);
    EXPECT_EQ(answer.headers.at("cache-control").find("immutable") != std::string::npos, file.lasting) << file.path;
  }
}

// Eight slow clients and nobody else is served.
TEST_F(Serving, clients_that_stay_silent_keep_nobody_out) {
  std::vector<std::unique_ptr<RawClient>> slow;
  for (int i = 0; i < 100; ++i) {
    slow.push_back(std::make_unique<RawClient>(port()));
    ASSERT_TRUE(slow.back()->send("GET /api/v1/fl"));
  }
  EXPECT_EQ(get("/api/v1/gateway").status, 200);
}

// A client that sends a byte at a time would hold its connection for ever.
TEST_F(Serving, a_request_that_trickles_is_given_up) {
  RawClient client(port());
  ASSERT_TRUE(client.send("GET /api/v1/gateway HTTP/1.1\r\n"));
  std::jthread trickle([&](const std::stop_token& stop) {
    while (!stop.stop_requested() && client.send("X")) std::this_thread::sleep_for(std::chrono::milliseconds{200});
  });
  EXPECT_TRUE(client.closed(2 * web::request_within));
}

// A script that opens connections and says nothing would lock the plant out of its page.
TEST_F(Serving, connections_that_wait_make_room_for_those_that_ask) {
  std::vector<std::unique_ptr<RawClient>> waiting;
  for (int i = 0; i < web::connections_max + 20; ++i) waiting.push_back(std::make_unique<RawClient>(port()));
  for (int i = 0; i < 20; ++i) EXPECT_EQ(get("/api/v1/gateway").status, 200) << i;
  EXPECT_TRUE(waiting.front()->closed(std::chrono::seconds{5})) << "the one that waited longest was not let go";
}

// A question about the feed would hold a connection for two hours.
TEST_F(Serving, asking_for_the_head_of_the_feed_opens_none) {
  const RawAnswer answer = ask(port(), request_text("HEAD", "/api/v1/live"), true);
  EXPECT_EQ(answer.status, 200);
  EXPECT_EQ(answer.headers.at("content-type"), "text/event-stream");
  EXPECT_EQ(json("/api/v1/gateway")["viewers"], 0);
}

// A request that two readers take for two hosts slips past one of them (RFC 9112, 3.2).
TEST_F(Serving, a_request_with_two_hosts_is_refused) {
  EXPECT_EQ(ask(port(), request_text("GET", "/api/v1/gateway", "Host: elsewhere.example\r\n")).status, 400);
}

// The page would show yesterday and look alive.
TEST_F(Serving, the_live_feed_says_hello_and_tells_what_is_new) {
  RawClient client(port());
  ASSERT_TRUE(client.send(request_text("GET", "/api/v1/live?station=northyard/ps-01")));
  const auto head = client.answer();
  ASSERT_EQ(head->status, 200);
  EXPECT_EQ(head->headers.at("content-type"), "text/event-stream");
  EXPECT_EQ(head->headers.at("x-accel-buffering"), "no");
  EXPECT_EQ(head->headers.at("cache-control"), "no-store");
  EXPECT_EQ(departs("LiveHello", event(client, "hello")), "");
  ASSERT_TRUE(eventually([&] {
    const std::lock_guard guard(mutex_);
    return watched_ == std::vector<StationId>{{"northyard", "ps-01"}};
  }));
  web::Seen seen{{"northyard", "ps-01"}, {}, std::nullopt, std::nullopt};
  for (int i = 0; i < 4; ++i) {
    Sample sample;
    sample.time = now_ + std::chrono::seconds{i};
    sample.pump = i > 0;
    sample.line = 2;
    sample.pressure.append(2.2);
    sample.pressure.append(10.0 + i);
    seen.samples.push_back(sample);
  }
  web_->seen({seen});
  const Json pressure = event(client, "pressure");
  EXPECT_EQ(departs("LivePressure", pressure), "");
  EXPECT_EQ(pressure["bar"][1], Json({10, 11, 12, 13}));
  const Json turn = event(client, "turn");
  EXPECT_EQ(departs("LiveTurn", turn), "");
  EXPECT_EQ(turn["turn"]["line"], 2);
  EXPECT_EQ(turn["turn"]["elapsed_s"], 2);
  EXPECT_EQ(turn["turn"]["usual_s"], 88);
  EXPECT_EQ(turn["turn"]["remaining_s"], 86);
  EXPECT_EQ(departs("Station", json("/api/v1/stations/northyard/ps-01")), "");

  history::Batch batch;
  batch.half_cycles.push_back(small_history().half_cycles.front());
  batch.warnings.push_back(small_history().warnings.front());
  batch.warnings.back().urgency = Urgency::act;
  batch.warnings.back().change = Change::urgency_changed;
  commit(std::move(batch));
  const Json warning = event(client, "warning");
  EXPECT_EQ(departs("LiveWarning", warning), "");
  EXPECT_EQ(warning["key"], "northyard/ps-01/line-2/slow-to-pressure");
  EXPECT_EQ(warning["change"], "urgency-changed");
  const Json told = event(client, "told");
  EXPECT_EQ(departs("LiveTold", told), "");
  const Json fleet = event(client, "fleet");
  EXPECT_EQ(departs("LiveFleet", fleet), "");
  EXPECT_EQ(fleet["columns"]["urgency"], Json({2}));
  EXPECT_EQ(departs("LivePulse", event(client, "pulse")), "");
}

Sample sample_at(Time time, bool pump, double bar) {
  Sample sample;
  sample.time = time;
  sample.pump = pump;
  sample.line = 2;
  sample.pressure.append(2.2);
  sample.pressure.append(bar);
  return sample;
}

// Whoever opens a station in the middle of a turn would see an empty chart and no turn.
TEST_F(Serving, the_feed_of_a_station_begins_with_what_came_before_anybody_watched) {
  for (int i = 0; i < 3'000; ++i)  // more than an answer holds; the peak in their middle
    lately_.push_back(sample_at(now_ - std::chrono::milliseconds{100 * (3'000 - i)}, i >= 2'000, i == 1'500 ? 240.0 : 5.0));
  RawClient client(port());
  ASSERT_TRUE(client.send(request_text("GET", "/api/v1/live?station=northyard/ps-01&fleet=0")));
  ASSERT_EQ(client.answer()->status, 200);
  const Json pressure = event(client, "pressure");
  EXPECT_EQ(departs("LivePressure", pressure), "");
  EXPECT_LE(pressure["at_ms"].size(), web::first_samples_max + 20);
  EXPECT_EQ(pressure["at_ms"].back(), ms_since_1970(lately_.back().time));
  const auto& bars = pressure["bar"][1];
  EXPECT_TRUE(std::find(bars.begin(), bars.end(), Json(240)) != bars.end()) << "the peak is lost";
  const Json turn = event(client, "turn");
  EXPECT_EQ(turn["turn"]["line"], 2);
  EXPECT_EQ(turn["turn"]["elapsed_s"], 99.9);
}

// A shelf that ends at night would leave every open page saying "shelved".
TEST_F(Serving, the_end_of_a_shelf_is_told) {
  RawClient client(port());
  ASSERT_TRUE(client.send(request_text("GET", "/api/v1/live?fleet=0")));
  ASSERT_EQ(client.answer()->status, 200);
  const std::string key = "northyard/ps-01/line-2/slow-to-pressure";
  ASSERT_EQ(post("/api/v1/warnings/" + key + "/acts", {{"act", "shelve"}, {"by", "anna"}, {"until_ms", ms_since_1970(now_) + 60'000}}).status, 200);
  const Json shelved = event(client, "warning");
  EXPECT_EQ(departs("LiveWarning", shelved), "");
  EXPECT_EQ(shelved["change"], "shelve");
  EXPECT_EQ(shelved["by"], "anna");
  ASSERT_TRUE(history_->tend(now_ + std::chrono::minutes{2}).has_value());
  const Json over = event(client, "warning");
  EXPECT_EQ(over["change"], "shelf-ended");
  EXPECT_EQ(over["key"], key);
  EXPECT_EQ(over["life"], "unacknowledged");
}

// A telephone that was in a tunnel would miss what came meanwhile.
TEST_F(Serving, a_feed_that_comes_again_gets_what_it_has_missed) {
  std::string id;
  {
    RawClient client(port());
    ASSERT_TRUE(client.send(request_text("GET", "/api/v1/live")));
    ASSERT_EQ(client.answer()->status, 200);
    EXPECT_EQ(event(client, "hello", &id)["resumed"], false);
    ASSERT_NE(id, "");
  }
  const std::int64_t revision = json("/api/v1/fleet")["revision"];
  history::Batch batch;
  batch.warnings.push_back(small_history().warnings.front());
  batch.warnings.back().change = Change::cleared;
  commit(std::move(batch));
  wait_for_revision(revision);
  RawClient client(port());
  ASSERT_TRUE(client.send(request_text("GET", "/api/v1/live", "Last-Event-ID: " + id + "\r\n")));
  ASSERT_EQ(client.answer()->status, 200);
  EXPECT_EQ(event(client, "hello")["resumed"], true);
  EXPECT_EQ(event(client, "warning")["change"], "cleared");
  for (const char* const other : {"zz-1", "1", "-", "ffffffff-99999999999999999999"}) {
    RawClient strange(port());
    ASSERT_TRUE(strange.send(request_text("GET", "/api/v1/live", "Last-Event-ID: " + std::string(other) + "\r\n")));
    ASSERT_EQ(strange.answer()->status, 200);
    EXPECT_EQ(event(strange, "hello")["resumed"], false) << other;
  }
}

// A viewer that does not read would take memory without end.
TEST_F(Serving, a_viewer_that_does_not_read_is_let_go) {
  RawClient deaf(port());
  ASSERT_TRUE(deaf.send(request_text("GET", "/api/v1/live?station=northyard/ps-01")));
  ASSERT_EQ(deaf.answer()->status, 200);
  ASSERT_TRUE(eventually([&] { return json("/api/v1/gateway")["viewers"] == 1; }));
  Time at = now_;
  EXPECT_TRUE(eventually([&] {
    web::Seen seen{{"northyard", "ps-01"}, {}, std::nullopt, std::nullopt};
    for (int i = 0; i < 1500; ++i) {
      Sample sample;
      sample.time = at += std::chrono::milliseconds{100};
      for (int line = 0; line < lines_max; ++line) sample.pressure.append(123.45);
      seen.samples.push_back(sample);
    }
    web_->seen({seen});
    return json("/api/v1/gateway")["viewers"] == 0;
  }));
  EXPECT_TRUE(eventually([&] {
    const std::lock_guard guard(mutex_);
    return watched_.empty();
  }));
}

// The gateway would not end while somebody looks on.
TEST_F(Serving, a_stop_ends_streams_and_connections_at_once) {
  RawClient stream(port());
  ASSERT_TRUE(stream.send(request_text("GET", "/api/v1/live")));
  ASSERT_EQ(stream.answer()->status, 200);
  RawClient idle(port());
  web_->stop();
  EXPECT_TRUE(stream.closed());
  EXPECT_TRUE(idle.closed());
}

class Secured : public PageTest {};

// A password that goes over the wire as it is.
TEST_F(Secured, with_a_certificate_it_speaks_tls_and_marks_its_cookie) {
  const Certificates certificates;
  const Certificate certificate = certificates.issue("page", "IP:127.0.0.1");
  web::WebSettings settings;
  settings.tls = web::TlsFiles{certificate.certificate_file, certificate.key_file};
  settings.users = {{"rolf", web::Role::responder, web::hashed_password("correct horse").value()}};
  start(settings);
  EXPECT_TRUE(web_->url().starts_with("https://127.0.0.1:"));
  const std::string out = folder_.file("answer");
  const std::string command = "printf '%s' '" + request_text("POST", "/api/v1/session", "Connection: close\r\n", R"({"user":"rolf","password":"correct horse"})") +
                              "' | openssl s_client -quiet -verify_return_error -CAfile " + certificates.ca_file() + " -connect 127.0.0.1:" + std::to_string(port()) + " > " + out + " 2>/dev/null";
  (void)!std::system(command.c_str());
  std::ifstream file(out);
  const std::string answer((std::istreambuf_iterator<char>(file)), {});
  EXPECT_TRUE(answer.starts_with("HTTP/1.1 200")) << answer;
  EXPECT_NE(answer.find("; Secure"), std::string::npos);
  EXPECT_NE(answer.find("Strict-Transport-Security"), std::string::npos);
}

TEST_F(Secured, a_key_of_another_certificate_keeps_it_from_starting) {  // it would start and refuse everybody
  const Certificates certificates;
  web::WebSettings settings;
  settings.port = 0;
  settings.tls = web::TlsFiles{certificates.issue("a", "IP:127.0.0.1").certificate_file, certificates.issue("b", "IP:127.0.0.1").key_file};
  web::WebParts parts;
  parts.history = history_.get();
  EXPECT_FALSE(web::Web::open(settings, std::move(parts)));
}

}  // namespace
}  // namespace driftline::testing
