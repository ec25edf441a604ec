#include "gateway/messages/text.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <set>

#include "gateway/messages/limits.h"
#include "gateway/messages/measures.h"
#include "rules/records/names.h"

namespace driftline::messages {
namespace {

using history::MessageKind;
using history::MessageRow;
using Kind = Block::Kind;

constexpr std::size_t causes_told = 3;
constexpr double weight_told = 0.10;        // a cause less likely than this is no help on the spot
constexpr std::size_t evidence_told = 3;
constexpr std::size_t owner_characters = 11;  // of a subject; the body has the whole name

double days_between(Time from, Time to) { return std::chrono::duration<double>(to - from).count() / 86'400; }

std::string percent(double share) { return std::to_string(std::lround(100 * share)); }

std::string capital(std::string text) {
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 'a' + 'A');
  return text;
}

std::string_view limit_name(Condition condition) {
  switch (condition) {
    case Condition::slow_to_pressure:
    case Condition::pressure_not_reached: return "limit/pump";
    case Condition::residual_pressure:
    case Condition::slow_vent: return "limit/residual";
    case Condition::reservoir_low:
    case Condition::short_reservoir_life:
    case Condition::grease_use_shift: return "limit/empty";
    case Condition::quick_to_pressure:
    case Condition::peak_shift:
    case Condition::missed_turn:
    case Condition::station_silent:
    case Condition::doubtful_sensor: return "limit/other";
  }
  return "limit/other";
}

bool needs_grease(Condition condition) {
  return condition == Condition::reservoir_low || condition == Condition::short_reservoir_life || condition == Condition::grease_use_shift;
}

// The machine's first sentence: why it holds, or why it no longer does. It has no name of its own in a row.
std::string reason_of(const std::string& text) {
  const auto begin = text.find('\n');
  if (begin == std::string::npos) return {};
  const auto end = text.find(". ", begin);
  std::string reason = text.substr(begin + 1, end == std::string::npos ? end : end - begin - 1);
  if (reason.ends_with('.')) reason.pop_back();
  return reason;
}

// Says one message of one warning, in the words, units and time of its site.
class Saying {
 public:
  Saying(const Item& item, const DutyList& duty, const Links& links, Time now)
      : item_(item), row_(item.message.row), warning_(*row_.warning), duty_(duty), links_(links), now_(now), words_(duty.words), site_(warning_.station.site),
        zone_(zone_of(duty, site_)), units_(units_of(duty, site_)) {}

  [[nodiscard]] std::string place(std::size_t characters) const {
    if (!warning_.line) return shortened(warning_.station.station, characters);
    const auto with = [&](const std::string& name) { return words_.say("place/line", {{"station", name}, {"line", std::to_string(*warning_.line)}}); };
    const std::size_t more = characters_of(with(""));
    return with(shortened(warning_.station.station, characters > more ? characters - more : 1));
  }
  [[nodiscard]] std::string what() const { return words_.say("condition/" + std::string(name_of(warning_.condition))); }

  // For a list, where there is room for the whole name.
  [[nodiscard]] std::string line() const { return with_name(place(200)); }

  // The name gives way, never what and how long.
  [[nodiscard]] std::string subject() const {
    const std::size_t others = characters_of(with_name(""));
    return shortened(with_name(place(others < subject_characters_max ? subject_characters_max - others : 1)), subject_characters_max);
  }
  [[nodiscard]] std::string with_name(const std::string& name) const {
    const std::string owner = shortened(row_.body, owner_characters);
    switch (row_.kind) {
      case MessageKind::over: return words_.say("subject/over", {{"place", name}, {"what", what()}});
      case MessageKind::taken: return words_.say("subject/taken", {{"owner", owner}, {"place", name}, {"what", what()}});
      case MessageKind::reminder: return words_.say("subject/reminder", {{"subject", news(name)}});
      case MessageKind::news:
      case MessageKind::digest:
      case MessageKind::gateway: break;
    }
    return news(name);
  }

  [[nodiscard]] std::vector<Block> blocks() {
    add(Kind::head, words_.say("body/place", {{"site", site_}, {"place", place(200)}}));
    switch (row_.kind) {
      case MessageKind::over: ended(); break;
      case MessageKind::taken: add(Kind::line, words_.say("body/taken", {{"owner", row_.body}})); break;
      case MessageKind::news:
      case MessageKind::reminder:
      case MessageKind::digest:
      case MessageKind::gateway: open(); break;
    }
    links();
    add(Kind::note, words_.say("body/times", {{"zone", zone_}}));
    return std::move(blocks_);
  }

 private:
  void add(Kind kind, std::string text) {
    if (!text.empty()) blocks_.push_back({.kind = kind, .text = std::move(text)});
  }

  [[nodiscard]] std::string news(const std::string& name) const {
    std::string text = words_.say("subject/news", {{"urgency", words_.say("urgency/" + std::string(name_of(row_.urgency)))}, {"place", name}, {"what", what()}});
    if (const std::string left = short_left(); !left.empty()) text = words_.say("subject/left", {{"subject", text}, {"left", left}});
    return text;
  }

  [[nodiscard]] std::string short_left() const {
    if (warning_.condition == Condition::pressure_not_reached) return words_.say("left/now");
    if (!item_.warning || !item_.warning->forecast.limit_at) return {};
    return length_text(days_between(now_, *item_.warning->forecast.limit_at), words_);
  }

  void ended() {
    add(Kind::line, words_.say("body/over", {{"since", clock_text(row_.raised, zone_)}}));
    if (item_.ended) reason(*item_.ended);
  }

  void reason(const std::string& text) {
    const std::string why = reason_of(text);
    if (!why.empty() && words_.english()) add(Kind::line, words_.say("body/reason", {{"reason", in_units(why, units_)}}));
  }

  void open() {
    add(Kind::line, capital(words_.say("body/found", {{"what", what()}, {"since", clock_text(row_.raised, zone_)}})));
    if (row_.kind == MessageKind::reminder) add(Kind::line, words_.say("body/nobody", {{"number", std::to_string(row_.step + 1)}}));
    if (!item_.warning) return;
    reason(item_.warning->text);
    changed();
    left();
    picture();
    causes();
    bring();
    add(Kind::caution, in_units(words_.say("caution/" + std::string(name_of(warning_.condition))), units_));
  }

  void changed() {
    if (!item_.warning->shift) return;
    const FigureShift& s = *item_.warning->shift;
    const std::string figure = words_.say("figure/" + s.figure);
    if (figure.empty()) return;
    const auto value = [&](double v) { return figure_text(s.figure, v, units_, words_); };
    std::string usual = s.usual ? words_.say("changed/usual", {{"usual", value(*s.usual)}}) : "";
    if (s.usual && *s.usual > 0 && s.value > 0 && !s.figure.ends_with("_bar")) {
      const double more = 100 * (s.value / *s.usual - 1);
      usual += words_.say("changed/percent", {{"percent", (more >= 0 ? "+" : "") + number_text(more)}});
    }
    add(Kind::line, words_.say("body/changed", {{"figure", lower(figure)}, {"value", value(s.value)}, {"usual", usual},
                                                {"limit", s.limit ? words_.say("changed/limit", {{"limit", value(*s.limit)}}) : ""},
                                                {"since", s.since ? words_.say("changed/since", {{"since", clock_text(*s.since, zone_)}}) : ""}}));
    also(s.figure);
  }

  [[nodiscard]] std::string lower(std::string text) const {
    if (words_.english() && !text.empty() && text[0] >= 'A' && text[0] <= 'Z') text[0] = static_cast<char>(text[0] - 'A' + 'a');
    return text;
  }

  void also(const std::string& told) {
    std::string list;
    std::size_t count = 0;
    for (const EvidenceItem& evidence : item_.warning->evidence) {
      if (!words_.english() || evidence.text.empty() || evidence.figure == told || count == evidence_told) continue;
      list += (count++ == 0 ? "" : "; ") + in_units(evidence.text, units_);
    }
    if (count > 0) add(Kind::line, words_.say("body/also", {{"list", list}}));
  }

  void left() {
    const Forecast& f = item_.warning->forecast;
    switch (warning_.condition) {
      case Condition::pressure_not_reached: return add(Kind::line, words_.say("body/left-not-served"));
      case Condition::quick_to_pressure: return add(Kind::line, words_.say("body/left-short-of-grease"));
      case Condition::missed_turn: return add(Kind::line, words_.say(warning_.line ? "body/left-line-not-greased" : "body/left-nothing-greased"));
      case Condition::station_silent: return add(Kind::line, words_.say("body/left-not-known"));
      case Condition::slow_to_pressure:
      case Condition::residual_pressure:
      case Condition::reservoir_low:
      case Condition::short_reservoir_life:
        if (!f.limit_at) return add(Kind::line, words_.say("body/left-open"));
        break;
      case Condition::peak_shift:
      case Condition::slow_vent:
      case Condition::grease_use_shift:
      case Condition::doubtful_sensor:
        if (!f.limit_at) return;
        break;
    }
    const auto length = [&](Time at) { return length_text(days_between(now_, at), words_); };
    const std::string limit = words_.say(limit_name(warning_.condition));
    if (!f.limit_at_earliest || !f.limit_at_latest) return add(Kind::line, words_.say("body/left", {{"left", length(*f.limit_at)}, {"limit", limit}}));
    add(Kind::line, words_.say("body/left-between", {{"left", length(*f.limit_at)}, {"limit", limit},
                                                     {"between", between_text(days_between(now_, *f.limit_at_earliest), days_between(now_, *f.limit_at_latest), words_)}}));
  }

  void picture() {
    if (!item_.trend) return;
    const Trend& trend = *item_.trend;
    const auto value = [&](double v) { return figure_text(trend.figure, v, units_, words_); };
    std::string text = words_.say("picture/days", {{"figure", words_.say("figure/" + trend.figure)}, {"days", std::to_string(std::lround(days_between(trend.from, trend.to)))},
                                                   {"low", value(trend.low)}, {"high", value(trend.high)}});
    if (std::ranges::any_of(trend.points, [](const TrendPoint& point) { return point.usual.has_value(); })) text += " " + words_.say("picture/usual");
    if (limit_is_in_view(trend)) text += " " + words_.say("picture/limit");
    blocks_.push_back({.kind = Kind::picture, .text = std::move(text), .trend = trend});
  }

  void causes() {
    Block list{.kind = Kind::list, .text = words_.say("body/causes")};
    for (const WeightedCause& cause : item_.warning->causes) {
      if (list.items.size() == causes_told || (!list.items.empty() && cause.weight < weight_told)) break;
      const std::string name(name_of(cause.cause));
      list.items.push_back(words_.say("body/cause", {{"cause", capital(words_.say("cause/" + name))}, {"percent", percent(cause.weight)}, {"check", words_.say("check/" + name)}}));
    }
    if (!list.items.empty()) return blocks_.push_back(std::move(list));
    if (warning_.condition == Condition::station_silent) add(Kind::line, words_.say("body/check-faults"));
    if (needs_grease(warning_.condition)) add(Kind::line, words_.say("body/check-level"));
  }

  void bring() {
    if (!item_.warning->causes.empty())
      add(Kind::line, words_.say("body/bring", {{"list", words_.say("bring/" + std::string(name_of(item_.warning->causes.front().cause)))}}));
    const std::string kind = grease_of(duty_, warning_.station);
    const std::string kg = item_.grease_kg ? number_text(std::ceil(*item_.grease_kg * 2) / 2) : "";
    if (!needs_grease(warning_.condition) && kind.empty()) return;
    if (needs_grease(warning_.condition) && !kg.empty())
      add(Kind::line, kind.empty() ? words_.say("body/grease-plate-kg", {{"kg", kg}}) : words_.say("body/grease-kg", {{"kind", kind}, {"kg", kg}}));
    else
      add(Kind::line, kind.empty() ? words_.say("body/grease-plate") : words_.say("body/grease", {{"kind", kind}}));
  }

  void links() {
    const LinkAbout about{warning_, row_.raised, row_.person, now_};
    const auto link = [&](Kind kind, const std::string& text, const std::function<std::string(const LinkAbout&)>& to) {
      if (const std::string url = to ? to(about) : std::string{}; !url.empty()) blocks_.push_back({.kind = kind, .text = text, .url = url});
    };
    if (row_.kind == MessageKind::news || row_.kind == MessageKind::reminder) link(Kind::button, words_.say("body/acknowledge"), links_.acknowledge);
    link(Kind::link, words_.say("body/chart"), links_.chart);
  }

  const Item& item_;
  const MessageRow& row_;
  const history::WarningRef& warning_;
  const DutyList& duty_;
  const Links& links_;
  const Time now_;
  const Words& words_;
  const std::string& site_;
  const std::string& zone_;
  const Units units_;
  std::vector<Block> blocks_;
};

const char* accent_of(const MessageRow& row) {
  if (!row.warning || row.kind == MessageKind::over || row.kind == MessageKind::taken) return "#5f6b76";
  return row.urgency == Urgency::act ? "#b3261e" : row.urgency == Urgency::plan ? "#b35900" : "#1e3c5a";
}

std::string thread_of(const MessageRow& row) {
  // Site, station, place, condition and raise: the first two parts of a warning's key.
  return row.warning ? row.key.substr(0, row.key.find('|', row.key.find('|') + 1)) : row.key;
}

// One cause at several stations, or whatever a flood has washed together.
struct Together {
  std::set<std::string> stations, sites;
  std::set<Condition> conditions;
  Urgency most = Urgency::notice;
  bool all_news = true;
};
Together together(const std::vector<Item>& items) {
  Together all;
  for (const Item& item : items) {
    const MessageRow& row = item.message.row;
    if (!row.warning) continue;
    all.stations.insert(row.warning->station.site + "/" + row.warning->station.station);
    all.sites.insert(row.warning->station.site);
    all.conditions.insert(row.warning->condition);
    all.most = std::max(all.most, row.urgency);
    all.all_news = all.all_news && row.kind == MessageKind::news;
  }
  return all;
}

bool is_site_wide(const Together& all) { return all.all_news && all.sites.size() == 1 && all.conditions.size() == 1 && all.stations.size() >= site_wide_stations; }

std::string bundle_subject(const std::vector<Item>& items, const Together& all, const DutyList& duty, Time now) {
  const Words& words = duty.words;
  if (all.stations.size() == 1) {
    const std::string subject = words.say("subject/more", {{"subject", subject_of(items.front(), duty, now)}, {"count", std::to_string(items.size() - 1)}});
    return characters_of(subject) <= subject_characters_max ? subject : subject_of(items.front(), duty, now);
  }
  const std::string urgency = words.say("urgency/" + std::string(name_of(all.most)));
  if (!is_site_wide(all))
    return words.say("subject/many", {{"urgency", urgency}, {"count", std::to_string(items.size())}, {"stations", std::to_string(all.stations.size())}});
  const auto with = [&](const std::string& site) {
    return words.say("subject/site", {{"urgency", urgency}, {"site", site}, {"what", words.say("condition/" + std::string(name_of(*all.conditions.begin())))},
                                      {"count", std::to_string(all.stations.size())}});
  };
  const std::size_t others = characters_of(with(""));
  return with(shortened(*all.sites.begin(), others < subject_characters_max ? subject_characters_max - others : 1));
}

void append(std::vector<Block>& to, std::vector<Block>&& from) { std::ranges::move(from, std::back_inserter(to)); }

std::vector<Block> bundle_blocks(std::vector<const Item*> items, const Together& all, const DutyList& duty, const Links& links, Time now) {
  std::vector<Block> blocks;
  const Words& words = duty.words;
  std::ranges::stable_sort(items, [](const Item* a, const Item* b) { return a->message.row.urgency > b->message.row.urgency; });
  const bool several = all.stations.size() > 1;
  if (several) {
    Block list{.kind = Kind::points, .text = is_site_wide(all) ? words.say("body/common", {{"count", std::to_string(all.stations.size())}, {"site", *all.sites.begin()}})
                                                               : words.say("body/summary")};
    for (const Item* item : items) list.items.push_back((is_site_wide(all) ? "" : item->message.row.warning->station.site + ", ") + Saying(*item, duty, links, now).line());
    blocks.push_back(std::move(list));
  }
  for (std::size_t i = 0; i < items.size(); ++i) {
    // An act is told in full and can be answered; of the rest of a long list the lines above must do.
    const bool whole = i < told_in_full || (items[i]->message.row.urgency == Urgency::act && !is_site_wide(all));
    if (!whole) continue;
    if (i > 0 || several) blocks.push_back({.kind = Kind::section, .text = Saying(*items[i], duty, links, now).line()});
    append(blocks, Saying(*items[i], duty, links, now).blocks());
  }
  if (!is_site_wide(all)) return blocks;
  for (std::size_t i = told_in_full; i < items.size(); ++i) {
    const MessageRow& row = items[i]->message.row;
    const std::string url = links.acknowledge ? links.acknowledge({*row.warning, row.raised, row.person, now}) : "";
    if (!url.empty()) blocks.push_back({.kind = Kind::link, .text = words.say("body/acknowledge-of", {{"place", Saying(*items[i], duty, links, now).place(200)}}), .url = url});
  }
  return blocks;
}

std::vector<Block> lines_of(const std::string& body) {
  std::vector<Block> blocks;
  for (std::size_t begin = 0; begin < body.size();) {
    const std::size_t end = std::min(body.find('\n', begin), body.size());
    if (end > begin) blocks.push_back({.kind = Kind::line, .text = body.substr(begin, end - begin)});
    begin = end + 1;
  }
  return blocks;
}

}  // namespace

std::string subject_of(const Item& item, const DutyList& duty, Time now) {
  if (!item.message.row.warning) return shortened(item.message.row.subject, subject_characters_max);
  return Saying(item, duty, Links{}, now).subject();
}

Text text_of(const std::vector<Item>& items, const DutyList& duty, const Links& links, Time now) {
  Text text;
  const MessageRow& first = items.front().message.row;
  text.thread = thread_of(first);
  std::vector<Block> blocks;
  const Together all = together(items);
  if (!first.warning) {
    text.subject = subject_of(items.front(), duty, now);
    blocks = lines_of(first.body);
  } else if (items.size() == 1) {
    text.subject = subject_of(items.front(), duty, now);
    blocks = Saying(items.front(), duty, links, now).blocks();
  } else {
    text.subject = shortened(bundle_subject(items, all, duty, now), subject_characters_max);
    std::vector<const Item*> pointers;
    for (const Item& item : items) pointers.push_back(&item);
    blocks = bundle_blocks(std::move(pointers), all, duty, links, now);
  }
  text.plain = first.warning ? plain_of(blocks) : first.body;
  text.html = html_of(text.subject, duty.words.say("language"), accent_of(first), blocks, text.pictures);
  return text;
}

}  // namespace driftline::messages
