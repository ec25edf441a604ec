#include "gateway/app/trial/silent_compare.h"

#include <algorithm>

#include "gateway/app/trial/silent_record.h"
#include "gateway/history/reader.h"
#include "rules/records/names.h"
#include "rules/records/time_text.h"

namespace driftline::trial {
namespace {

constexpr int changes_read_most = 5'000;

// Raised since then: what was open before both have.
std::vector<Episode> raised_since(const std::vector<WarningChange>& changes, Time since) {
  std::vector<Episode> all = episodes_of(changes, since);
  std::erase_if(all, [&](const Episode& e) { return e.raised < since; });
  return all;
}

std::vector<WarningChange> changes_of(const SilentStation& station) {
  std::vector<WarningChange> all;
  for (const SilentChange& c : station.changes) {
    WarningChange& change = all.emplace_back();
    change.time = c.time;
    change.station = station.id;
    change.line = c.line;
    change.condition = c.condition;
    change.urgency = c.urgency;
    change.change = c.change;
  }
  return all;
}

std::string place_of(const StationId& id, const Episode& e) {
  return id.site + "/" + id.station + (e.line ? " line " + std::to_string(*e.line) : "") + ": " + std::string(name_of(e.condition));
}

std::string shown_time(Time time) { return rfc3339(time).substr(0, 16) + "Z"; }

struct Counts {
  std::size_t in_force = 0, in_force_act = 0, silent = 0, silent_act = 0, gone = 0;
  std::map<Difference, std::size_t> differences;
};

Counts counted(const SilentComparison& comparison) {
  Counts all;
  const auto acts = [](const std::vector<Episode>& episodes) {
    return static_cast<std::size_t>(std::count_if(episodes.begin(), episodes.end(), [](const Episode& e) { return e.urgency == Urgency::act; }));
  };
  for (const SilentComparison::Row& row : comparison.stations) {
    all.in_force += row.in_force.size();
    all.in_force_act += acts(row.in_force);
    all.silent += row.silent.episodes.size();
    all.silent_act += acts(row.silent.episodes);
    all.gone += row.silent.gone.size();
    for (const Difference d : row.silent.differences) ++all.differences[d];
  }
  return all;
}

}  // namespace

tl::expected<SilentComparison, std::string> compare_silent(const std::string& data_folder, const rollout::Proposal& proposal,
                                                           const std::vector<StationId>& stations) {
  const auto record = read_silent(silent_folder(data_folder), proposal.name);
  if (!record) return tl::unexpected("nothing has been judged in silence for " + proposal.name + " in " + data_folder + " yet: the gateway does it, from its next minute on");
  auto reader = history::Reader::open(data_folder + "/history.db");
  if (!reader) return tl::unexpected("the history in " + data_folder + " cannot be read: " + reader.error().text);
  SilentComparison comparison;
  comparison.since = record->since;
  for (const SilentStation& station : record->stations) {
    if (std::find(stations.begin(), stations.end(), station.id) == stations.end()) continue;
    const bool first = comparison.stations.empty();
    comparison.until = first ? station.mark.received : std::min(comparison.until, station.mark.received);
    auto stored = (*reader)->warnings_between(station.id, {record->since, later_by_days(station.mark.received, 1)}, changes_read_most);
    if (!stored) return tl::unexpected(stored.error().text);
    std::vector<WarningChange> changes;
    for (auto& row : *stored) changes.push_back(std::move(row.row));
    SilentComparison::Row& row = comparison.stations.emplace_back();
    row.id = station.id;
    row.in_force = raised_since(changes, record->since);
    // What the silent one cannot know yet is no difference.
    std::erase_if(row.in_force, [&](const Episode& e) { return e.raised > station.mark.received; });
    row.silent.episodes = raised_since(changes_of(station), record->since);
    compare(row.silent, row.in_force);
  }
  comparison.not_begun = stations.size() - std::min(stations.size(), comparison.stations.size());
  return comparison;
}

std::string words_of(const SilentComparison& comparison) {
  const Counts all = counted(comparison);
  const auto warnings = [](std::size_t count, std::size_t act) {
    return std::to_string(count) + (count == 1 ? " warning" : " warnings") + (act > 0 ? ", " + std::to_string(act) + " of them act" : "");
  };
  std::string text = std::to_string(comparison.stations.size()) + (comparison.stations.size() == 1 ? " station" : " stations") + ", " +
                     std::to_string(static_cast<int>(std::max(0.0, days_between(comparison.since, comparison.until)))) + " days: in force " +
                     warnings(all.in_force, all.in_force_act) + "; in silence " + warnings(all.silent, all.silent_act) + ", against those in force";
  for (const Difference d : {Difference::same, Difference::earlier, Difference::later, Difference::added}) {
    const auto found = all.differences.find(d);
    text += " " + std::to_string(found == all.differences.end() ? 0 : found->second) + " " + std::string(name_of(d)) + ",";
  }
  text += " " + std::to_string(all.gone) + " gone";
  if (comparison.not_begun > 0) text += "; " + std::to_string(comparison.not_begun) + " stations not judged yet";
  return text;
}

std::vector<std::string> lines_of(const SilentComparison& comparison) {
  std::vector<std::string> lines;
  for (const SilentComparison::Row& row : comparison.stations) {
    for (std::size_t i = 0; i < row.silent.episodes.size(); ++i) {
      if (row.silent.differences[i] == Difference::same) continue;
      const Episode& e = row.silent.episodes[i];
      lines.push_back(place_of(row.id, e) + " " + shown_time(e.raised) + ", " + std::string(name_of(row.silent.differences[i])));
    }
    for (const Episode& e : row.silent.gone) lines.push_back(place_of(row.id, e) + " " + shown_time(e.raised) + ", gone");
  }
  return lines;
}

}  // namespace driftline::trial
