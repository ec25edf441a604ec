// A history with warnings of an invented plant, a duty list, and a channel that keeps what it is given.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "gateway/history/history.h"
#include "gateway/history/reader.h"
#include "gateway/messages/delivery.h"
#include "gateway/messages/plan.h"
#include "gateway/messages/tell.h"
#include "tests/unit/journal/folder.h"

namespace driftline::messages {

inline const Time monday_noon = time_from_ms(1'768'219'200'000);  // Monday, 2026-01-12T12:00:00Z

inline DutyList duty_list() {
  DutyList duty;
  duty.people["anna"] = {"anna", {{"mail", "anna@plant.example"}}};
  duty.people["ben"] = {"ben", {{"mail", "ben@plant.example"}}};
  duty.lines.push_back({.name = "all", .sites = {}, .stations = {}, .conditions = {}, .urgency = Urgency::plan, .hours = {}, .tell = {"anna", "ben"}, .after_min = 15});
  duty.mail.emplace();
  duty.digest_to = {"anna"};
  return duty;
}

inline WarningChange word(int station, Change change, Urgency urgency, Time time, Condition condition = Condition::slow_to_pressure) {
  WarningChange row;
  row.time = time;
  row.station = {"northyard", "ps-" + std::to_string(station)};
  row.line = 2;
  row.condition = condition;
  row.urgency = urgency;
  row.change = change;
  row.causes = {{Cause::slow_leak, 0.8}, {Cause::air_in_line, 0.2}};
  row.text = "Plan ps-" + std::to_string(station) + " line 2: slow to pressure\nTime to pressure 98.8 s, usual 87.7.\nCaution: up to 250 bar.";
  return row;
}

class WarnedPlant {
 public:
  WarnedPlant() { open(); }
  void open() {
    history.reset();
    history = std::move(*history::History::open({.file = file}));
    reader = std::move(*history::Reader::open(file));
  }
  void say(const WarningChange& row) {
    history::Batch batch;
    batch.warnings = {row};
    (void)history->commit(batch);
  }
  history::ActOutcome act(int station, rules::LifeEvent what, const std::string& who, Time time) {
    return *history->act({.time = time, .warning = {{"northyard", "ps-" + std::to_string(station)}, 2, Condition::slow_to_pressure}, .what = what, .who = who, .why = "", .via = "page"});
  }
  // Plans as the delivery does; the new rows.
  std::vector<MessageRow> plan_at(const DutyList& duty, Time now) {
    std::vector<KeptMessage> told;
    const auto rows = *reader->messages_since(now - told_for);
    for (const auto& row : rows) told.push_back(row.row);
    auto planned = plan(duty, *reader->lives(), told, now);
    (void)history->plan_messages(planned.rows);
    return planned.rows;
  }
  // All that was planned counts as sent.
  void all_sent(Time now) {
    std::vector<std::int64_t> ids;
    const auto rows = *reader->messages_since(time_from_ms(0));
    for (const auto& row : rows)
      if (row.row.progress.state == history::MessageState::waiting) ids.push_back(row.id);
    (void)history->end_sending(ids, {.next_try = now, .sent = now});
  }

  const journal::Folder folder;
  const std::string file = folder.path() + "/history.db";
  std::unique_ptr<history::History> history;
  std::unique_ptr<history::Reader> reader;
};

struct Post {
  std::vector<Outbound> out, tried;
  Sent answer = Sent::yes;
  std::string full{};  // the person whose mailbox is
};
class PostBox : public Channel {
 public:
  explicit PostBox(Post& post) : post_(post) {}
  SendResult send(const Outbound& message) override {
    post_.tried.push_back(message);
    const Sent answer = message.person == post_.full ? Sent::later_here : post_.answer;
    if (answer == Sent::yes) post_.out.push_back(message);
    return {answer, true, "answer", {}};
  }

 private:
  Post& post_;
};

}  // namespace driftline::messages
