#include "gateway/messages/bundles.h"

#include <algorithm>
#include <map>
#include <set>
#include <string>

#include "rules/records/names.h"

namespace driftline::messages {
namespace {

using history::MessageKind;

bool is_act(const Item& item) { return item.message.row.warning && item.message.row.urgency == Urgency::act; }
bool may_wait(const Item& item) { return item.message.row.warning && !is_act(item); }
bool is_news(const Item& item) { return item.message.row.warning && item.message.row.kind == MessageKind::news && item.warning; }

std::string common(const Item& item) {
  const history::MessageRow& row = item.message.row;
  return row.warning->station.site + "|" + std::string(name_of(row.warning->condition)) + "|" + std::string(name_of(row.urgency));
}

// By what an item joins others; empty: by nothing.
std::string cause_of(const Item& item, const std::map<std::string, std::set<std::string>>& stations) {
  const history::MessageRow& row = item.message.row;
  if (item.message.progress.sending != 0) return "again|" + std::to_string(item.message.progress.sending);
  if (!is_news(item)) return {};
  if (stations.at(common(item)).size() >= site_wide_stations) return "site|" + common(item);
  if (item.warning->causes.empty()) return {};
  return "station|" + row.warning->station.site + "/" + row.warning->station.station + "|" + std::string(name_of(item.warning->causes.front().cause)) + "|" +
         std::string(name_of(row.urgency));
}

template <class KeyOf>
std::vector<Bundle> grouped(const std::vector<Item>& items, KeyOf key_of) {
  std::vector<Bundle> all;
  std::map<std::string, std::size_t> by_key;
  for (std::size_t i = 0; i < items.size(); ++i) {
    const std::string key = key_of(items[i]);
    const auto found = key.empty() ? by_key.end() : by_key.find(key);
    Bundle& bundle = found == by_key.end() ? all.emplace_back() : all[found->second];
    if (found == by_key.end() && !key.empty()) by_key[key] = all.size() - 1;
    bundle.items.push_back(i);
    bundle.may_wait = bundle.may_wait && may_wait(items[i]);
    bundle.sending = items[i].message.progress.sending;
  }
  return all;
}

}  // namespace

std::vector<Bundle> bundles(const std::vector<Item>& items, std::size_t room) {
  std::map<std::string, std::set<std::string>> stations;
  for (const Item& item : items)
    if (is_news(item)) stations[common(item)].insert(item.message.row.warning->station.station);
  auto all = grouped(items, [&](const Item& item) { return cause_of(item, stations); });
  if (all.size() > room) {
    const auto acts = static_cast<std::size_t>(std::count_if(all.begin(), all.end(), [&](const Bundle& b) { return is_act(items[b.items.front()]); }));
    all = grouped(items, [&](const Item& item) {
      if (item.message.progress.sending != 0 || (is_act(item) && acts <= room)) return cause_of(item, stations);
      return std::string(is_act(item) ? "acts" : may_wait(item) ? "rest" : "");
    });
  }
  std::stable_sort(all.begin(), all.end(), [&](const Bundle& a, const Bundle& b) { return is_act(items[a.items.front()]) && !is_act(items[b.items.front()]); });
  return all;
}

}  // namespace driftline::messages
