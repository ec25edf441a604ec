#include "gateway/messages/digest.h"

#include <algorithm>
#include <map>
#include <set>

#include "gateway/messages/limits.h"
#include "gateway/messages/measures.h"
#include "gateway/messages/text.h"
#include "rules/records/names.h"

namespace driftline::messages {
namespace {

using history::LifeRow;
using Lives = std::vector<history::Stored<LifeRow>>;

std::string text_of(const StationId& station) { return station.site + "/" + station.station; }

std::vector<StationId> not_watched(const Lives& lives, const DigestFacts& facts) {
  std::set<StationId> silent;
  for (const auto& stored : lives)
    if (stored.row.last.condition == Condition::station_silent && stored.row.life.active) silent.insert(stored.row.last.station);
  std::vector<StationId> none;
  for (const StationId& station : facts.known)
    if (silent.contains(station) || !std::ranges::binary_search(facts.heard, station)) none.push_back(station);
  return none;
}

std::string line_of(const LifeRow& row, const DutyList& duty, Time now) {
  const Words& words = duty.words;
  std::string place = row.last.station.site + ", ";
  place += row.last.line ? words.say("place/line", {{"station", row.last.station.station}, {"line", std::to_string(*row.last.line)}}) : row.last.station.station;
  const std::string what = words.say("urgency/" + std::string(name_of(row.life.urgency))) + " " + words.say("condition/" + std::string(name_of(row.last.condition)));
  const std::string days = std::to_string(std::chrono::duration_cast<std::chrono::hours>(now - row.life.raised).count() / 24);
  return row.life.owner.empty() ? words.say("digest/open", {{"place", place}, {"what", what}, {"days", days}})
                                : words.say("digest/owner", {{"place", place}, {"what", what}, {"days", days}, {"owner", row.life.owner}});
}

// At most so many lines; what is left out is counted.
void list(std::string& body, const std::vector<std::string>& lines, const Words& words) {
  for (std::size_t i = 0; i < std::min(lines.size(), digest_lines_most); ++i) body += "- " + lines[i] + "\n";
  if (lines.size() > digest_lines_most) body += words.say("digest/more", {{"count", std::to_string(lines.size() - digest_lines_most)}}) + "\n";
}

}  // namespace

GatewaySays digest_of(const DutyList& duty, const Lives& lives, const DigestFacts& facts, const std::string& date, Time now) {
  const Words& words = duty.words;
  const auto missing = not_watched(lives, facts);
  const std::string known = std::to_string(facts.known.size()), heard = std::to_string(facts.known.size() - missing.size());
  std::map<rules::LifeState, std::vector<const LifeRow*>> by_state;
  std::size_t open = 0;
  for (const auto& stored : lives) {
    by_state[rules::state_of(stored.row.life)].push_back(&stored.row);
    open += stored.row.life.active ? 1 : 0;
  }
  GatewaySays said{"digest|" + date, words.say("digest/subject", {{"date", date}, {"heard", heard}, {"known", known}, {"open", std::to_string(open)}}),
                   words.say("digest/watched", {{"heard", heard}, {"known", known}}) + "\n"};
  if (!missing.empty()) {
    said.body += words.say("digest/silent") + "\n";
    std::vector<std::string> names;
    for (const StationId& station : missing) names.push_back(text_of(station));
    list(said.body, names, words);
  }
  for (auto& [state, rows] : by_state) {
    std::ranges::stable_sort(rows, [](const LifeRow* a, const LifeRow* b) { return a->life.urgency > b->life.urgency; });
    said.body += "\n" + words.say("digest/state", {{"state", words.say("state/" + std::string(name_of(state)))}, {"count", std::to_string(rows.size())}}) + "\n";
    std::vector<std::string> lines;
    for (const LifeRow* row : rows) lines.push_back(line_of(*row, duty, now));
    list(said.body, lines, words);
  }
  if (open == 0) said.body += words.say("digest/none") + "\n";
  if (facts.held > 0) said.body += words.say("digest/held", {{"count", std::to_string(facts.held)}}) + "\n";
  if (facts.failed > 0) said.body += words.say("digest/failed", {{"count", std::to_string(facts.failed)}}) + "\n";
  return said;
}

}  // namespace driftline::messages
