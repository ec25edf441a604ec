// Messages a person and day over the warnings of a plant, against published alarm rates.
// Each step is on the disk before the next: TMPDIR on a memory file system makes it fast.
//
//   messages_quarter JUDGED...        folders that driftline replay has written; the stations of each are a part of the plant
//
// The warnings go through the real planning and sending, with a clock of their own and channels that take everything. Five
// people: two share the on-call week, one leads, two planners share the sites. Whoever is told of an act answers it 12 minutes
// later on average (exponential, a fixed seed), of a plan at the next weekday's 08:00; notes are left to the digest.
#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <map>
#include <nlohmann/json.hpp>
#include <queue>
#include <random>
#include <set>

#include "gateway/history/history.h"
#include "gateway/messages/delivery.h"
#include "rules/records/names.h"
#include "rules/records/time_text.h"

namespace {

using namespace driftline;
using namespace driftline::messages;
using std::chrono::hours;
using std::chrono::minutes;

WarningChange read_row(const nlohmann::json& row, const std::string& part) {
  WarningChange change;
  const auto time = [&](const char* name) { return row[name].is_null() ? std::optional<Time>{} : parse_rfc3339(row[name].get<std::string>()); };
  change.time = *time("time");
  change.station = {part + row["site"].get<std::string>(), row["station"]};
  if (!row["line"].is_null()) change.line = row["line"].get<int>();
  change.condition = *condition_named(row["condition"].get<std::string>());
  change.urgency = *urgency_named(row["urgency"].get<std::string>());
  const std::string what = row["change"];
  change.change = what == "raised" ? Change::raised : what == "cleared" ? Change::cleared : Change::urgency_changed;
  for (const auto& cause : row["causes"]) change.causes.push_back({*cause_named(cause["cause"].get<std::string>()), cause["weight"]});
  change.forecast = {time("limit_at"), time("limit_at_earliest"), time("limit_at_latest")};
  change.text = row["text"];
  return change;
}

struct Plant {
  std::vector<WarningChange> rows;
  std::set<StationId> stations;
};
Plant read_plant(int folders, char** names) {
  Plant plant;
  for (int i = 0; i < folders; ++i) {
    const std::string part = std::string(1, static_cast<char>('a' + i)) + "-";
    std::ifstream warnings(std::string(names[i]) + "/warnings.ndjson"), days(std::string(names[i]) + "/reservoirs.ndjson");
    for (std::string line; std::getline(warnings, line);) plant.rows.push_back(read_row(nlohmann::json::parse(line), part));
    for (std::string line; std::getline(days, line);) {
      const auto row = nlohmann::json::parse(line);
      plant.stations.insert({part + row["site"].get<std::string>(), row["station"]});
    }
  }
  std::ranges::stable_sort(plant.rows, {}, &WarningChange::time);
  return plant;
}

DutyList duty_of(const Plant& plant) {
  DutyList duty;
  for (const char* name : {"first", "second", "lead", "planner-1", "planner-2"}) duty.people[name] = {name, {{"mail", std::string(name) + "@plant.example"}}};
  duty.rotas["on-call"] = {.people = {"first", "second"}};
  std::set<std::string> half;
  for (const StationId& station : plant.stations)
    if (half.size() < 1 || std::hash<std::string>{}(station.site) % 2 == 0) half.insert(station.site);
  duty.lines.push_back({.name = "act", .sites = {}, .stations = {}, .conditions = {}, .urgency = Urgency::act, .hours = {}, .tell = {"on-call", "first", "second", "lead"}, .after_min = 15});
  duty.lines.push_back({.name = "plan here", .sites = half, .stations = {}, .conditions = {}, .urgency = Urgency::plan, .hours = {}, .tell = {"planner-1"}, .after_min = 24 * 60});
  duty.lines.push_back({.name = "plan there", .sites = {}, .stations = {}, .conditions = {}, .urgency = Urgency::plan, .hours = {}, .tell = {"planner-2"}, .after_min = 24 * 60});
  duty.quiet = Hours{.from_min = 20 * 60, .to_min = 6 * 60};
  duty.digest_to = {"planner-1", "planner-2", "lead"};
  duty.mail.emplace();
  return duty;
}

struct Sending1 {
  Time time;
  bool digest, act;
};
struct Answer {
  Time time;
  history::WarningRef warning;
  std::string who;
  bool operator<(const Answer& other) const { return time > other.time; }
};

class Everybody : public Channel {
 public:
  std::map<std::string, std::vector<Sending1>> got;
  std::priority_queue<Answer> answers;
  SendResult send(const Outbound& message) override {
    const history::MessageRow& first = message.items.front().message.row;
    got[message.person].push_back({message.now, first.kind == history::MessageKind::digest, first.warning && first.urgency == Urgency::act});
    for (const Item& item : message.items) {
      const history::MessageRow& row = item.message.row;
      if (!row.warning || (row.kind != history::MessageKind::news && row.kind != history::MessageKind::reminder)) continue;
      answers.push({row.urgency == Urgency::act ? message.now + std::chrono::seconds(static_cast<int>(wait_(random_))) : next_morning(message.now), *row.warning, message.person});
    }
    return {Sent::yes, true, "250", {}};
  }

 private:
  static Time next_morning(Time now) {
    Time at = std::chrono::floor<std::chrono::days>(now) + hours{8};
    while (at <= now || local_of(at, "UTC").weekday > 4) at += hours{24};
    return at;
  }
  std::mt19937 random_{7};
  std::exponential_distribution<> wait_{1.0 / (12 * 60)};
};

class Shared : public Channel {
 public:
  explicit Shared(Everybody& all) : all_(all) {}
  SendResult send(const Outbound& message) override { return all_.send(message); }

 private:
  Everybody& all_;
};

void play(const Plant& plant, const DutyList& duty, Everybody& people, const std::string& file) {
  const auto history = *history::History::open({.file = file});
  DeliveryParts parts;
  parts.history = history.get();
  parts.channel = [&](const std::string&) { return std::make_unique<Shared>(people); };
  for (const StationId& station : plant.stations) parts.facts[station] = {};
  Planning planning(duty, parts);
  Sending sending("mail", duty, parts);
  std::size_t next = 0;
  for (Time now = std::chrono::floor<std::chrono::days>(plant.rows.front().time); now < plant.rows.back().time + hours{24}; now += minutes{1}) {
    bool something = now.time_since_epoch() % minutes{15} == minutes{0};
    history::Batch batch;
    for (; next < plant.rows.size() && plant.rows[next].time <= now; ++next) batch.warnings.push_back(plant.rows[next]);
    if (!batch.warnings.empty()) (void)history->commit(batch);
    something = something || !batch.warnings.empty();
    for (; !people.answers.empty() && people.answers.top().time <= now; people.answers.pop()) {
      (void)history->act({.time = now, .warning = people.answers.top().warning, .what = rules::LifeEvent::acknowledge, .who = people.answers.top().who, .why = "", .via = "link", .until = {}, .raised = {}});
      something = true;
    }
    if (now.time_since_epoch() % hours{1} == minutes{0}) (void)history->tend(now);
    if (something) planning.step(now);
    while (sending.step(now)) {
    }
  }
}

std::size_t most_within(const std::vector<Sending1>& all, std::chrono::nanoseconds span) {
  std::size_t most = 0;
  for (std::size_t i = 0, j = 0; j < all.size(); ++j) {
    while (all[j].time - all[i].time >= span) ++i;
    most = std::max(most, j - i + 1);
  }
  return most;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 2) return 2;
  const Plant plant = read_plant(argc - 1, argv + 1);
  const DutyList duty = duty_of(plant);
  Everybody people;
  std::string folder = (std::filesystem::temp_directory_path() / "driftline-quarter-XXXXXX").string();
  if (mkdtemp(folder.data()) == nullptr) return 1;
  play(plant, duty, people, folder + "/history.db");
  std::filesystem::remove_all(folder);
  const double days = std::chrono::duration<double>(plant.rows.back().time - plant.rows.front().time).count() / 86'400;
  std::map<Urgency, int> raised;
  for (const WarningChange& row : plant.rows) raised[row.urgency] += row.change == Change::raised ? 1 : 0;
  std::printf("%zu stations, %.0f days, %zu changes of warnings; raised: %d act, %d plan, %d notice\n\n", plant.stations.size(), days, plant.rows.size(), raised[Urgency::act],
              raised[Urgency::plan], raised[Urgency::notice]);
  std::printf("| person | messages | of them act | digests | a day, mean | worst day | most in 10 min |\n| --- | --- | --- | --- | --- | --- | --- |\n");
  for (auto& [person, all] : people.got) {
    std::ranges::sort(all, {}, &Sending1::time);
    const auto count = [&](auto which) { return static_cast<int>(std::ranges::count_if(all, which)); };
    std::printf("| %s | %zu | %d | %d | %.2f | %zu | %zu |\n", person.c_str(), all.size(), count([](const Sending1& s) { return s.act; }), count([](const Sending1& s) { return s.digest; }),
                static_cast<double>(all.size()) / days, most_within(all, hours{24}), most_within(all, minutes{10}));
  }
  std::printf("\nguidance: at most 144 a day, and 10 in 10 minutes\n");
}
