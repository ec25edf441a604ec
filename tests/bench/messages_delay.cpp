// From a warning's commit to the other side's having it, on loopback, while a plant of 1,000 stations is written to the same
// history. Prints median and p99 for each channel; nothing is asserted.
//
//   messages_delay [WARNINGS [OLD_MESSAGES]]        200 and 3,000 unless given
#include <algorithm>
#include <atomic>
#include <cstdio>
#include <filesystem>
#include <map>
#include <mutex>
#include <thread>

#include "gateway/messages/delivery.h"
#include "tests/integration/store/http_peer.h"
#include "tests/support/certificates.h"
#include "tests/support/message_peers.h"
#include "tests/unit/history/examples.h"

namespace {

using namespace driftline;
using namespace driftline::messages;
using Clock = std::chrono::steady_clock;

// A plant of 1,000 stations of two lines, a turn each 24 minutes: 1.4 half-cycles a second; here four, and four states, each 100 ms.
void load(history::History& history, std::atomic<bool>& stop) {
  for (int number = 0; !stop; ++number) {
    history::Batch batch;
    for (int i = 0; i < 4; ++i) {
      batch.half_cycles.push_back(history::half_cycle_row(4 * number + i));
      batch.station_states.push_back({{"site", "ps-" + std::to_string((4 * number + i) % 1000)}, static_cast<std::uint64_t>(number) + 1, std::string(5200, 'x')});
    }
    (void)history.commit(batch);
    std::this_thread::sleep_for(std::chrono::milliseconds{100});
  }
}

WarningChange act_of(int number, Time time) {
  WarningChange row;
  row.time = time;
  row.station = {"site-" + std::to_string(number), "ps-01"};
  row.line = 1;
  row.condition = Condition::pressure_not_reached;
  row.urgency = Urgency::act;
  row.change = Change::raised;
  row.causes = {{Cause::slow_leak, 1}};
  row.text = "ACT ps-01 line 1: target pressure not reached\nThe target pressure was not met within the pump limit. Caution.";
  return row;
}

void print(const char* channel, std::vector<double> delays) {
  if (delays.empty()) return;
  std::ranges::sort(delays);
  std::printf("%s: %zu warnings, median %.0f ms, p99 %.0f ms, most %.0f ms\n", channel, delays.size(), delays[delays.size() / 2], delays[delays.size() * 99 / 100], delays.back());
}

}  // namespace

int main(int argc, char** argv) {
  const int warnings = argc > 1 ? std::atoi(argv[1]) : 200, old = argc > 2 ? std::atoi(argv[2]) : 3'000;
  const driftline::testing::TempFolder folder;
  const driftline::testing::Certificates authority;
  const driftline::testing::MailServer mail(authority);
  std::mutex mutex;
  std::map<std::string, Clock::time_point> got;
  driftline::testing::StubServer chat([&](const driftline::testing::HttpSeen& seen) {
    const auto at = seen.body.find("\"site\":\"");
    const std::lock_guard guard(mutex);
    if (at != std::string::npos) got.try_emplace(seen.body.substr(at + 8, seen.body.find('"', at + 8) - at - 8), Clock::now());
    return std::string("HTTP/1.1 200 OK\r\nContent-Length: 0\r\n\r\n");
  });
  DutyList duty;
  duty.mail = mail.settings();
  duty.webhooks["chat"] = {.url = "http://127.0.0.1:" + std::to_string(chat.port()) + "/", .key_file = folder.write("key", "an invented key of thirty bytes\n"), .ca_file = {}};
  duty.people["anna"] = {"anna", {{"webhook chat", "@anna"}, {"mail", "anna@plant.example"}}};
  duty.lines.push_back({.name = "chat", .sites = {}, .stations = {}, .conditions = {}, .urgency = Urgency::act, .hours = {}, .tell = {"anna"}, .after_min = 600});
  const auto history = *history::History::open({.file = folder.file("history.db")});
  DeliveryParts parts;
  parts.history = history.get();
  parts.wall = [] { return std::chrono::time_point_cast<Time::duration>(std::chrono::system_clock::now()); };
  const Time now = parts.wall();
  std::vector<history::MessageRow> rows;
  std::vector<std::int64_t> ids;
  for (int i = 0; i < old; ++i) {
    history::MessageRow row{.key = "old|" + std::to_string(i), .made = now - std::chrono::hours{24}, .due = now - std::chrono::hours{24}, .person = "anna", .channel = "webhook chat", .address = "@anna"};
    row.warning = history::WarningRef{{"old-" + std::to_string(i), "ps-01"}, 1, Condition::slow_vent};
    rows.push_back(row);
    ids.push_back(i + 1);
  }
  (void)history->plan_messages(rows);
  (void)history->end_sending(ids, {.next_try = now, .sent = now - std::chrono::hours{24}});
  std::atomic<bool> stop{false};
  std::thread plant([&] { load(*history, stop); });
  Delivery delivery(duty, parts);
  delivery.start();
  std::map<std::string, Clock::time_point> sent;
  std::vector<std::filesystem::file_time_type> committed;
  for (int i = 0; i < warnings; ++i) {
    history::Batch batch;
    batch.warnings = {act_of(i, parts.wall())};
    (void)history->commit(batch);
    sent["site-" + std::to_string(i)] = Clock::now();
    committed.push_back(std::filesystem::file_time_type::clock::now());
    delivery.nudge();
    std::this_thread::sleep_for(std::chrono::milliseconds{300});
  }
  std::this_thread::sleep_for(std::chrono::seconds{3});
  delivery.stop();
  stop = true;
  plant.join();
  std::vector<double> delays;
  for (const auto& [site, at] : got)
    if (const auto begin = sent.find(site); begin != sent.end()) delays.push_back(std::chrono::duration<double, std::milli>(at - begin->second).count());
  print("webhook", delays);
  const auto arrivals = mail.arrivals();
  std::vector<double> mailed;
  if (arrivals.size() == committed.size())  // each by itself, and in order
    for (std::size_t i = 0; i < arrivals.size(); ++i) mailed.push_back(std::chrono::duration<double, std::milli>(arrivals[i] - committed[i]).count());
  print("mail, STARTTLS and sign-in each time", mailed);
  if (static_cast<int>(delays.size()) < warnings) std::printf("%d did not arrive singly: a flood is one message\n", warnings - static_cast<int>(delays.size()));
}
