#include "gateway/app/trial/silent.h"

#include <algorithm>
#include <filesystem>
#include <set>
#include <utility>

#include "gateway/app/clock.h"
#include "gateway/app/rollout.h"
#include "gateway/app/trial/candidates.h"
#include "gateway/app/trial/player.h"
#include "gateway/app/trial/silent_compare.h"
#include "gateway/app/trial/silent_record.h"
#include "gateway/history/reader.h"

namespace driftline::trial {
namespace {

constexpr Time end_of_time = time_from_ms(253'402'300'799'000);  // the year 9999

}  // namespace

struct SilentJudge::Live {
  Live(StationId station, rules::StationContext context) : id(std::move(station)), player(std::move(context)) {}

  // What the station was fed since, up to the end of what is kept; and what became due up to `settled`.
  bool follow(history::Reader& reader, Time settled, Time since) {
    const auto tape = reader.fed_tape(id, {mark.received, end_of_time}, false);
    if (!tape) return false;
    const SilentMark begin = mark;
    std::int64_t of_begin = 0;
    (void)tape->play([&](const FedEvent& fed, const HalfCycle* turn) {
      if (fed.received < begin.received || (fed.received == begin.received && ++of_begin <= begin.same)) return;
      mark.same = fed.received == mark.received ? mark.same + 1 : 1;
      mark.received = fed.received;
      player.take(fed, turn);
    });
    if (settled > player.last_taken) player.advance(settled);
    hear(since);
    return true;
  }

  [[nodiscard]] SilentStation kept() const { return {id, mark, player.last_taken, rules::save(player.state), rules::save(site), changes}; }
  bool restore(const SilentStation& from) {
    auto state = rules::load_station(from.rules);
    auto of_site = rules::load_site(from.site);
    if (!state || !of_site) return false;
    mark = from.mark;
    player.state = std::move(*state);
    player.last_taken = from.last_taken;
    site = std::move(*of_site);
    changes = from.changes;
    return true;
  }

  StationId id;
  SilentMark mark;
  Player player;
  rules::SiteState site;
  std::vector<SilentChange> changes;

 private:
  // The station alone stands for its site.
  void hear(Time since) {
    std::vector<rules::SiteOutput> out;
    for (const fold::Step& step : player.steps) {
      const auto* judgement = std::get_if<rules::Judgement>(&step.what);
      const auto* finding = judgement == nullptr ? nullptr : std::get_if<Finding>(judgement);
      if (finding == nullptr) continue;
      out.clear();
      rules::judge(site, id, *finding, step.key.when, out);
      for (const rules::SiteOutput& one : out)
        if (const auto* change = std::get_if<WarningChange>(&one); change != nullptr && change->time >= since && changes.size() < silent_changes_most)
          changes.push_back({change->time, change->line, change->condition, change->urgency, change->change});
    }
    player.steps.clear();
  }
};

struct SilentJudge::Beside {
  rollout::Proposal proposal;
  Time since{};
  int days = 0;
  std::map<StationId, std::unique_ptr<Live>> stations;
  std::vector<StationId> wanted;  // sorted
  std::size_t next = 0;           // of `wanted`: where the last round was broken off
  Time reached{};                 // of the last whole round
  bool changed = false;
  bool told = false;              // the comparison after its days
};

SilentJudge::SilentJudge(std::string config_folder, std::string data_folder, ContextOf in_force, Noted noted)
    : config_folder_(std::move(config_folder)), data_folder_(std::move(data_folder)), in_force_(std::move(in_force)), noted_(std::move(noted)) {}

SilentJudge::~SilentJudge() { stop(); }

void SilentJudge::start() {
  thread_ = std::thread([this] { run(); });
}

void SilentJudge::stop() {
  {
    const std::lock_guard guard(mutex_);
    ending_ = true;
  }
  wake_.notify_all();
  if (thread_.joinable()) thread_.join();
  keep();
}

void SilentJudge::reload() {
  stale_ = true;
  wake_.notify_all();
}

void SilentJudge::run() {
  for (bool more = false;;) {
    {
      std::unique_lock lock(mutex_);
      wake_.wait_for(lock, more ? std::chrono::seconds{1} : silent_step_every, [this] { return ending_ || stale_.load(); });
      if (ending_) return;
    }
    more = step(wall_now(), silent_step_most);
  }
}

bool SilentJudge::step(Time now, std::chrono::milliseconds most) {
  find_proposals();
  const std::chrono::nanoseconds until = steady_now() + most;
  bool more = false;
  for (auto& [name, beside] : beside_) {
    more = bring_forward(*beside, until) || more;
    if (!more) tell_when_over(*beside, now);
  }
  keep();
  return more;
}

// Proposals are few and read each time; stations and thresholds only when they may have changed.
void SilentJudge::find_proposals() {
  std::vector<ConfigProblem> ignored;
  std::map<std::string, rollout::Proposal> silent;
  for (rollout::Proposal& proposal : rollout::proposals(config_folder_, ignored))
    if (proposal.state() == rollout::Act::silent) silent.emplace(proposal.name, std::move(proposal));
  std::erase_if(beside_, [&](const auto& one) { return !silent.contains(one.first); });
  const bool any_new = std::any_of(silent.begin(), silent.end(), [&](const auto& one) { return !beside_.contains(one.first); });
  if (!stale_.exchange(false) && !any_new) return;
  if (silent.empty()) return;
  const ConfigOutcome config = load_config(config_folder_);
  if (!config.config) return;  // as it was
  std::size_t room = silent_stations_most;
  for (auto& [name, proposal] : silent) {
    auto& beside = beside_[name];
    if (!beside) beside = std::make_unique<Beside>();
    beside->proposal = std::move(proposal);
    const rollout::Done* began = beside->proposal.last(rollout::Act::silent);
    beside->since = began->at;
    beside->days = began->days;
    beside->told = began != &beside->proposal.done.back();
    beside->wanted = rollout::stations_of(beside->proposal, config);
    if (beside->wanted.size() > room) beside->wanted.resize(room);  // the comparison counts the others as not judged
    room -= beside->wanted.size();
    const std::set<StationId> wanted(beside->wanted.begin(), beside->wanted.end());
    std::erase_if(beside->stations, [&](const auto& one) { return !wanted.contains(one.first); });
    if (beside->stations.empty())
      if (const auto record = read_silent(silent_folder(data_folder_), name); record && record->since == beside->since)
        for (const SilentStation& kept : record->stations)
          if (wanted.contains(kept.id)) {
            auto live = std::make_unique<Live>(kept.id, rules::StationContext{});
            if (live->restore(kept)) beside->stations.emplace(kept.id, std::move(live));
          }
    for (auto& [id, live] : beside->stations) live->player.context = context_with(*beside, id);
  }
}

rules::StationContext SilentJudge::context_with(const Beside& beside, const StationId& id) const {
  const Contexts in_force{{id, in_force_(id)}};
  std::vector<ConfigProblem> ignored;
  const auto candidate = candidate_of_text(beside.proposal.thresholds, beside.proposal.name, in_force, ignored);
  return candidate ? candidate->contexts.at(id) : in_force.at(id);  // what contradicts itself now could not be put in force either
}

bool SilentJudge::bring_forward(Beside& beside, std::chrono::nanoseconds until) {
  if (beside.wanted.empty()) return false;
  auto reader = history::Reader::open((std::filesystem::path(data_folder_) / "history.db").string());
  if (!reader) return false;
  const auto fed = (*reader)->fed_stations();
  if (!fed) return false;
  Time last = time_from_ms(0);
  for (const history::FedStation& station : *fed) last = std::max(last, station.last);
  const Time settled = last - silent_behind;
  for (; beside.next < beside.wanted.size(); ++beside.next) {
    if (steady_now() > until) return true;
    const StationId& id = beside.wanted[beside.next];
    const auto known = std::find_if(fed->begin(), fed->end(), [&](const history::FedStation& s) { return s.id == id; });
    if (known == fed->end()) continue;
    auto& live = beside.stations[id];
    if (!live) live = std::make_unique<Live>(id, context_with(beside, id));
    if (!live->follow(**reader, settled, beside.since)) continue;
    beside.changed = true;
  }
  beside.next = 0;
  beside.reached = settled;
  return false;
}

void SilentJudge::tell_when_over(Beside& beside, Time now) {
  if (beside.told || days_between(beside.since, now) < beside.days) return;
  beside.told = true;
  keep();
  const auto comparison = compare_silent(data_folder_, beside.proposal, beside.wanted);
  if (!comparison) return;
  if (const auto noted = rollout::note_comparison(config_folder_, beside.proposal.name, words_of(*comparison), now)) noted_(rollout::rows_of(config_folder_));
}

void SilentJudge::keep() {
  for (auto& [name, beside] : beside_) {
    if (!beside->changed) continue;
    SilentRecord record{name, beside->since, {}};
    for (const auto& [id, live] : beside->stations) record.stations.push_back(live->kept());
    if (write_silent(silent_folder(data_folder_), record)) beside->changed = false;
  }
}

}  // namespace driftline::trial
