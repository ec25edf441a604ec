#include "gateway/messages/plan.h"

#include <algorithm>
#include <map>
#include <set>

#include "gateway/messages/measures.h"
#include "gateway/messages/text.h"
#include "rules/records/names.h"
#include "rules/records/time_text.h"

namespace driftline::messages {
namespace {

using history::MessageKind;
using history::MessageState;
using history::WarningRef;
using rules::LifeState;

std::string text_of(const WarningRef& warning) {
  return warning.station.site + "/" + warning.station.station + "/" + (warning.line ? "line-" + std::to_string(*warning.line) : "station") + "/" +
         std::string(name_of(warning.condition));
}

struct Said {
  int step = -1;  // the highest of the escalation
  Time last{};
  bool failed = true;  // nothing of that step arrived, nor will
};

bool has_failed(const KeptMessage& kept) {
  return kept.progress.state == MessageState::refused || kept.progress.state == MessageState::unsure;
}

class Planner {
 public:
  Planner(const DutyList& duty, const std::vector<KeptMessage>& told, Time now) : duty_(duty), told_(told), now_(now) {
    for (const KeptMessage& kept : told)
      if (kept.row.warning) by_warning_[*kept.row.warning].push_back(&kept);
  }

  void of_open(const LifeRow& row) {
    const rules::Life& life = row.life;
    const WarningRef warning = history::ref_of(row.last);
    if (rules::state_of(life) == LifeState::acknowledged) say_who_has_it(warning, life);
    if (rules::state_of(life) != LifeState::unacknowledged) return;
    const std::optional<Said> said = said_of(warning, life);
    if (!said && life.urgency != Urgency::act && flaps(warning, life)) return;
    const Choice choice = choose(duty_, warning, life.urgency, now_);
    if (choice.people.empty()) return;
    const int people = static_cast<int>(choice.people.size());
    if (choice.line == nullptr) {
      if (!said)
        for (const std::string& person : choice.people) say(MessageKind::news, 0, person, row);
      return;
    }
    const int steps = life.urgency == Urgency::notice ? 1 : life.urgency == Urgency::act ? people * act_rounds : people;
    const int step = said ? said->step + 1 : 0;
    if (step >= steps) return;
    // What was refused for good rings nobody: an act then goes on to the next at once.
    const bool at_once = !said || (said->failed && life.urgency == Urgency::act);
    const Time due = at_once ? now_ : said->last + std::chrono::minutes{choice.line->after_min};
    if (due > now_) return wake(due);
    say(step == 0 ? MessageKind::news : MessageKind::reminder, step, choice.people[static_cast<std::size_t>(step % people)], row);
    wake(now_ + std::chrono::minutes{choice.line->after_min});
  }

  // Whoever was told that it began is told that it ended.
  void of_ended(const std::map<WarningRef, const LifeRow*>& lives) {
    for (const auto& [warning, all] : by_warning_) {
      const auto found = lives.find(warning);
      if (found != lives.end() && found->second->life.active) continue;  // raised anew: it is not over
      std::map<Time, std::pair<std::set<std::string>, std::set<std::string>>> raises;
      for (const KeptMessage* kept : all) {
        auto& [news, over] = raises[kept->row.raised];
        const bool may_have_arrived = kept->progress.state == MessageState::sent || kept->progress.state == MessageState::unsure;
        if (may_have_arrived && (kept->row.kind == MessageKind::news || kept->row.kind == MessageKind::reminder))
          news.insert(kept->row.person);
        if (kept->row.kind == MessageKind::over) over.insert(kept->row.person);
      }
      for (const auto& [raised, people] : raises) {
        for (const std::string& person : people.first)
          if (!people.second.contains(person)) put(MessageKind::over, 0, person, warning, Urgency::notice, raised, 0, "");
      }
    }
  }

  Plan plan;

 private:
  void wake(Time at) { plan.wake_at = std::min(plan.wake_at.value_or(at), at); }

  // What was said of this raise at this urgency or more.
  std::optional<Said> said_of(const WarningRef& warning, const rules::Life& life) const {
    std::optional<Said> said;
    const auto found = by_warning_.find(warning);
    if (found == by_warning_.end()) return said;
    for (const KeptMessage* kept : found->second) {
      const bool asks = kept->row.kind == MessageKind::news || kept->row.kind == MessageKind::reminder;
      if (!asks || kept->row.raised != life.raised || kept->row.urgency < life.urgency) continue;
      if (!said) said.emplace();
      if (kept->row.step > said->step) {
        said->step = kept->row.step;
        said->failed = true;
      }
      if (kept->row.step == said->step) said->failed = said->failed && has_failed(*kept);
      said->last = std::max(said->last, kept->row.due);  // held back by quiet hours, its time runs from their end
    }
    return said;
  }

  bool flaps(const WarningRef& warning, const rules::Life& life) const {
    const auto found = by_warning_.find(warning);
    if (found == by_warning_.end()) return false;
    return std::any_of(found->second.begin(), found->second.end(), [&](const KeptMessage* kept) {
      return kept->row.kind == MessageKind::news && kept->row.raised != life.raised && kept->row.urgency >= life.urgency && now_ - kept->row.made < fold_for;
    });
  }

  void say_who_has_it(const WarningRef& warning, const rules::Life& life) {
    const auto found = by_warning_.find(warning);
    if (found == by_warning_.end() || life.owner.empty()) return;
    for (const KeptMessage* kept : found->second)
      if (kept->row.raised == life.raised && kept->row.urgency == Urgency::act && kept->progress.state == MessageState::sent &&
          kept->row.kind != MessageKind::over && kept->row.kind != MessageKind::taken && kept->row.person != life.owner)
        put(MessageKind::taken, 0, kept->row.person, warning, life.urgency, life.raised, kept->row.warning_id, life.owner);
  }

  void say(MessageKind kind, int step, const std::string& person, const LifeRow& row) {
    put(kind, step, person, history::ref_of(row.last), row.life.urgency, row.life.raised, -1, "");
  }

  void put(MessageKind kind, int step, const std::string& person, const WarningRef& warning, Urgency urgency, Time raised, std::int64_t warning_id,
           const std::string& more) {
    const auto who = duty_.people.find(person);
    if (who == duty_.people.end()) return;
    for (const auto& [channel, address] : who->second.channels) {
      MessageRow row{.made = now_, .due = due_of(kind, urgency, warning), .person = person, .channel = channel, .address = address, .kind = kind,
                     .step = step, .warning = warning, .urgency = urgency, .raised = raised, .warning_id = warning_id};
      row.key = text_of(warning) + "|" + rfc3339(raised) + "|" + std::string(name_of(urgency)) + "|" + std::string(name_of(kind)) + "|" +
                std::to_string(step) + "|" + person + "|" + channel;
      if (!more.empty()) {
        row.key += "|" + more;
        row.body = more;
      }
      if (keys_.empty())
        for (const KeptMessage& kept : told_) keys_.insert(kept.row.key);
      if (keys_.insert(row.key).second) plan.rows.push_back(std::move(row));
    }
  }

  Time due_of(MessageKind kind, Urgency urgency, const WarningRef& warning) const {
    if (urgency == Urgency::act && kind != MessageKind::over) return now_;
    const Time gathered = now_ + (kind == MessageKind::news ? gather : std::chrono::seconds{0});
    return quiet_until(duty_, gathered, zone_of(duty_, warning.station.site)).value_or(gathered);
  }

  const DutyList& duty_;
  const std::vector<KeptMessage>& told_;
  const Time now_;
  std::map<WarningRef, std::vector<const KeptMessage*>> by_warning_;
  std::set<std::string> keys_;
};

std::string two(int value) { return value < 10 ? "0" + std::to_string(value) : std::to_string(value); }

}  // namespace

Plan plan(const DutyList& duty, const LifeRows& lives, const std::vector<KeptMessage>& told, Time now) {
  Planner planner(duty, told, now);
  std::map<WarningRef, const LifeRow*> by_ref;
  for (const auto& stored : lives) {
    by_ref[history::ref_of(stored.row.last)] = &stored.row;
    const std::size_t before = planner.plan.rows.size();
    planner.of_open(stored.row);
    for (std::size_t i = before; i < planner.plan.rows.size(); ++i) planner.plan.rows[i].warning_id = stored.id;
  }
  planner.of_ended(by_ref);
  return std::move(planner.plan);
}

std::vector<MessageRow> of_itself(const DutyList& duty, const GatewaySays& said, Time now) {
  std::vector<MessageRow> rows;
  std::set<std::string> people;
  for (const std::string& name : duty.digest_to) people.insert(person_on(duty, name, now));
  for (const std::string& person : people) {
    const auto who = duty.people.find(person);
    if (who == duty.people.end()) continue;
    for (const auto& [channel, address] : who->second.channels)
      rows.push_back({.key = said.what + "|" + person + "|" + channel, .made = now, .due = now, .person = person, .channel = channel, .address = address,
                      .kind = said.what.starts_with("digest|") ? MessageKind::digest : MessageKind::gateway,
                      .subject = shortened(said.subject, subject_characters_max), .body = said.body});
  }
  return rows;
}

std::optional<std::string> digest_due(const DutyList& duty, const std::vector<KeptMessage>& told, Time now) {
  const Local local = local_of(now, duty.zone);
  if (duty.digest_to.empty() || local.minute < duty.digest_min) return std::nullopt;
  std::string date = std::to_string(local.year) + "-" + two(local.month) + "-" + two(local.day);
  const std::string key = "digest|" + date + "|";
  if (std::ranges::any_of(told, [&](const KeptMessage& kept) { return kept.row.key.starts_with(key); })) return std::nullopt;
  return date;
}

}  // namespace driftline::messages
