#include "gateway/messages/text.h"

#include <algorithm>
#include <functional>
#include <map>
#include <set>

#include "gateway/telemetry/json_text.h"
#include "rules/records/names.h"
#include "rules/warnings/life.h"
#include "rules/warnings/text.h"

namespace driftline::messages {
namespace {

using history::MessageKind;

constexpr std::size_t causes_told = 3;

std::string place(const StationId& station, std::optional<int> line) {
  return station.station + (line ? " line " + std::to_string(*line) : "");
}

std::string first_line(const std::string& text) { return text.substr(0, text.find('\n')); }
std::string after_first_line(const std::string& text) {
  const auto at = text.find('\n');
  return at == std::string::npos ? std::string{} : text.substr(at + 1);
}

std::string two(int value) { return value < 10 ? "0" + std::to_string(value) : std::to_string(value); }

std::string local_text(Time time, const std::string& zone) {
  const Local local = local_of(time, zone);
  return std::to_string(local.year) + "-" + two(local.month) + "-" + two(local.day) + " " + two(local.minute / 60) + ":" + two(local.minute % 60) +
         " (" + zone + ")";
}

std::string one_subject(const Item& item) {
  const history::MessageRow& row = item.message.row;
  if (!row.warning) return row.subject;
  const std::string what = place(row.warning->station, row.warning->line) + ": " + std::string(rules::words_of(row.warning->condition));
  switch (row.kind) {
    case MessageKind::over: return "Over " + what;
    case MessageKind::taken: return shortened(row.body, 20) + " has it: " + what;
    case MessageKind::reminder: return "No answer yet: " + (item.warning ? first_line(item.warning->text) : what);
    default: return item.warning ? first_line(item.warning->text) : what;
  }
}

std::string other_checks(const WarningChange& warning) {
  std::string text;
  for (std::size_t i = 1; i < std::min(warning.causes.size(), causes_told); ++i)
    text += "Or " + std::string(rules::words_of(warning.causes[i].cause)) + " (" +
            std::to_string(static_cast<int>(warning.causes[i].weight * 100 + 0.5)) + " %): " +
            std::string(rules::first_check_of(warning.causes[i].cause)) + "\n";
  return text;
}

struct Saying {
  const DutyList& duty;
  const Links& links;
  Time now;
};

std::string links_of(const history::MessageRow& row, const Saying& saying) {
  const LinkAbout about{*row.warning, row.raised, row.person, saying.now};
  const auto line = [&](std::string_view words, const std::function<std::string(const LinkAbout&)>& link) {
    const std::string url = link ? link(about) : std::string{};
    return url.empty() ? url : std::string(words) + url + "\n";
  };
  const bool asks = row.kind == MessageKind::news || row.kind == MessageKind::reminder;
  return (asks ? line("Acknowledge: ", saying.links.acknowledge) : std::string{}) + line("Chart: ", saying.links.chart);
}

std::string one_body(const Item& item, const Saying& saying) {
  const history::MessageRow& row = item.message.row;
  if (!row.warning) return row.body;
  const std::string& zone = zone_of(saying.duty, row.warning->station.site);
  std::string text = row.warning->station.site + ", " + place(row.warning->station, row.warning->line) + "\n";
  if (row.kind == MessageKind::over) {
    text += "The warning of " + local_text(row.raised, zone) + " has ended.\n";
  } else if (row.kind == MessageKind::taken) {
    text += row.body + " has acknowledged the warning of " + local_text(row.raised, zone) + ". You need not go.\n";
  } else {
    text += "Since " + local_text(row.raised, zone) + ".\n";
    if (row.kind == MessageKind::reminder) text += "Nobody has acknowledged it. You are told as number " + std::to_string(row.step + 1) + " in turn.\n";
    if (item.warning) text += after_first_line(item.warning->text) + "\n" + other_checks(*item.warning);
  }
  return text + links_of(row, saying);
}

std::string escaped(std::string_view text) {
  std::string out;
  for (const char c : text) switch (c) {
      case '&': out += "&amp;"; break;
      case '<': out += "&lt;"; break;
      case '>': out += "&gt;"; break;
      case '"': out += "&quot;"; break;
      case '\n': out += "<br>\n"; break;
      default: out += c;
    }
  return out;
}

std::string with_links(const std::string& plain) {
  std::string out;
  for (std::size_t begin = 0; begin < plain.size();) {
    const std::size_t end = std::min(plain.find('\n', begin), plain.size());
    const std::string line = plain.substr(begin, end - begin);
    const auto link = line.find("http");
    if (line.rfind("Acknowledge:", 0) == 0 || line.rfind("Chart:", 0) == 0)
      out += "<p><a href=\"" + escaped(line.substr(link)) + "\">" + escaped(line.substr(0, line.find(':'))) + "</a></p>\n";
    else if (line.rfind("Caution:", 0) == 0)
      out += "<p><b>" + escaped(line) + "</b></p>\n";
    else if (!line.empty())
      out += "<p>" + escaped(line) + "</p>\n";
    begin = end + 1;
  }
  return out;
}

}  // namespace

std::string shortened(std::string_view text, std::size_t characters) {
  std::size_t count = 0;
  std::size_t at = 0;
  while (at < text.size() && count < characters) {
    const std::size_t length = std::max<std::size_t>(1, utf8_length(text.substr(at)));
    at += length;
    ++count;
  }
  return std::string(text.substr(0, at));
}

Text text_of(const std::vector<Item>& items, const DutyList& duty, const Links& links, Time now) {
  const Saying saying{duty, links, now};
  Text text;
  const history::MessageRow& first = items.front().message.row;
  text.thread = first.warning ? first.key.substr(0, first.key.find('|', first.key.find('|') + 1)) : first.key;
  std::set<std::string> stations, sites;
  for (const Item& item : items)
    if (item.message.row.warning) {
      stations.insert(item.message.row.warning->station.site + "/" + item.message.row.warning->station.station);
      sites.insert(item.message.row.warning->station.site);
    }
  if (items.size() == 1) {
    text.subject = one_subject(items.front());
  } else if (stations.size() == 1) {
    text.subject = one_subject(items.front()) + " and " + std::to_string(items.size() - 1) + " more";
    if (text.subject.size() > subject_characters_max) text.subject = one_subject(items.front());
  } else {
    text.subject = (sites.size() == 1 ? *sites.begin() : std::to_string(sites.size()) + " sites") + ": " + std::to_string(items.size()) +
                   " warnings at " + std::to_string(stations.size()) + " stations";
  }
  text.subject = shortened(text.subject, subject_characters_max);
  if (stations.size() > 1) {
    text.plain = "What they have in common most likely lies behind them all: look there first.\n";
    for (const Item& item : items) text.plain += "- " + item.message.row.warning->station.site + " " + one_subject(item) + "\n";
    text.plain += "\nThe first of them:\n";
    text.plain += one_body(items.front(), saying);
  } else {
    for (const Item& item : items) {
      if (&item != &items.front()) text.plain += "\nAlso: " + one_subject(item) + "\n";
      text.plain += one_body(item, saying);
    }
  }
  text.html = "<!doctype html><html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width\"></head>"
              "<body style=\"font:16px sans-serif;max-width:36em;margin:1em;color:#222\">\n<h1 style=\"font-size:1.15em\">" +
              escaped(text.subject) + "</h1>\n" + with_links(text.plain) + "</body></html>\n";
  return text;
}

DigestText digest_text(const std::vector<history::Stored<history::LifeRow>>& lives, std::int64_t stations_known, const std::string& date, Time now) {
  std::map<rules::LifeState, std::vector<const history::LifeRow*>> by_state;
  std::vector<std::string> silent;
  for (const auto& stored : lives) {
    by_state[rules::state_of(stored.row.life)].push_back(&stored.row);
    if (stored.row.last.condition == Condition::station_silent && stored.row.life.active) silent.push_back(stored.row.last.station.site + "/" + stored.row.last.station.station);
  }
  const std::int64_t watched = std::max<std::int64_t>(0, stations_known - static_cast<std::int64_t>(silent.size()));
  std::size_t open = 0;
  for (const auto& stored : lives) open += stored.row.life.active ? 1 : 0;
  DigestText text;
  text.subject = shortened("Digest " + date + ": " + std::to_string(watched) + " of " + std::to_string(stations_known) + " watched, " + std::to_string(open) + " open",
                           subject_characters_max);
  text.body = std::to_string(watched) + " of " + std::to_string(stations_known) + " stations were truly watched.\n";
  for (const std::string& name : silent) text.body += "Silent, so nothing is known of it: " + name + "\n";
  for (const auto& [state, rows] : by_state) {
    text.body += "\n" + std::string(name_of(state)) + ":\n";
    for (const history::LifeRow* row : rows) {
      const auto days = std::chrono::duration_cast<std::chrono::hours>(now - row->life.raised).count() / 24;
      text.body += "- " + row->last.station.site + " " + first_line(row->last.text) + ", " + std::to_string(days) + (days == 1 ? " day" : " days") +
                   (row->life.owner.empty() ? "" : ", " + row->life.owner + " has it") + "\n";
    }
  }
  if (lives.empty()) text.body += "No warning is open.\n";
  return text;
}

}  // namespace driftline::messages
