#include <algorithm>
#include <charconv>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "gateway/history/tables.h"
#include "rules/records/names.h"

namespace driftline::history {
namespace {

// "slow-leak=0.7;air-in-line=0.3": the shortest digits that read back to the same weight.
std::string causes_text(const std::vector<WeightedCause>& causes) {
  std::string text;
  for (const WeightedCause& cause : causes) {
    char digits[32];
    const auto end = std::to_chars(digits, digits + sizeof digits, cause.weight).ptr;
    if (!text.empty()) text += ';';
    text.append(name_of(cause.cause)).append("=").append(digits, end);
  }
  return text;
}

std::vector<WeightedCause> causes_of(std::string_view text) {
  std::vector<WeightedCause> causes;
  while (!text.empty()) {
    const std::string_view one = text.substr(0, text.find(';'));
    text.remove_prefix(std::min(text.size(), one.size() + 1));
    const std::size_t equals = one.find('=');
    if (equals == std::string_view::npos) unknown_word(one);
    WeightedCause cause{named<Cause>(one.substr(0, equals), cause_count), 0};
    const std::string_view digits = one.substr(equals + 1);
    std::from_chars(digits.data(), digits.data() + digits.size(), cause.weight);
    causes.push_back(cause);
  }
  return causes;
}

void append_digits(std::string& text, const std::optional<double>& value) {
  char digits[32];
  if (value) text.append(digits, std::to_chars(digits, digits + sizeof digits, *value).ptr);
}

// A line each: figure, value, usual, since (ms since 1970) and text, tabs between; nothing where it is not known.
std::string evidence_text(const std::vector<EvidenceItem>& evidence) {
  std::string text;
  for (const EvidenceItem& item : evidence) {
    text += item.figure + '\t';
    append_digits(text, item.value);
    text += '\t';
    append_digits(text, item.usual);
    text += '\t';
    if (item.since) text += std::to_string(ms_since_1970(*item.since));
    text += '\t' + item.text + '\n';
  }
  return text;
}

std::string_view cut(std::string_view& from, char at) {
  const std::string_view part = from.substr(0, from.find(at));
  from.remove_prefix(std::min(from.size(), part.size() + 1));
  return part;
}

template <typename Number>
std::optional<Number> number_of(std::string_view digits) {
  Number number{};
  const auto read = std::from_chars(digits.data(), digits.data() + digits.size(), number);
  if (digits.empty() || read.ec != std::errc{}) return std::nullopt;
  return number;
}

std::vector<EvidenceItem> evidence_of(std::string_view text) {
  std::vector<EvidenceItem> evidence;
  while (!text.empty() && evidence.size() < evidence_max) {
    std::string_view line = cut(text, '\n');
    EvidenceItem& item = evidence.emplace_back();
    item.figure = cut(line, '\t');
    item.value = number_of<double>(cut(line, '\t'));
    item.usual = number_of<double>(cut(line, '\t'));
    if (const auto since = number_of<std::int64_t>(cut(line, '\t'))) item.since = time_from_ms(*since);
    item.text = line;
  }
  return evidence;
}

}  // namespace

WarningTable::WarningTable(Database& database)
    : insert(database.prepare(
          "INSERT INTO warnings (time, station_no, line, condition, urgency, change, causes, limit_at,"
          " limit_at_earliest, limit_at_latest, figure, figure_value, figure_usual, figure_spread, figure_limit,"
          " figure_since, figure_turns, text, evidence) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)")),
      set_open(database.prepare("INSERT OR REPLACE INTO open_warnings VALUES (?, ?, ?, ?)")),
      set_closed(database.prepare("DELETE FROM open_warnings WHERE station_no = ? AND line = ? AND condition = ?")) {}

std::int64_t WarningTable::put(Database& database, std::int64_t station_no, const WarningChange& row) {
  const FigureShift shift = row.shift.value_or(FigureShift{});
  const auto if_shift = [&](auto value) { return row.shift ? std::optional{value} : std::nullopt; };
  insert.run(row.time, station_no, row.line, name_of(row.condition), name_of(row.urgency), name_of(row.change),
             causes_text(row.causes), row.forecast.limit_at, row.forecast.limit_at_earliest,
             row.forecast.limit_at_latest, if_shift(shift.figure), if_shift(shift.value), shift.usual, shift.spread,
             shift.limit, shift.since, if_shift(shift.turns), row.text, evidence_text(row.evidence));
  const std::int64_t id = database.last_id();
  const int line = row.line.value_or(0);  // 0: the whole station; NULLs are never equal in a key
  if (row.change == Change::cleared)
    set_closed.run(station_no, line, name_of(row.condition));
  else
    set_open.run(station_no, line, name_of(row.condition), id);
  return id;
}

const char* const WarningTable::select =
    "SELECT warnings.id, time, site, station, warnings.line, warnings.condition, urgency, change, causes, limit_at,"
    " limit_at_earliest, limit_at_latest, figure, figure_value, figure_usual, figure_spread, figure_limit,"
    " figure_since, figure_turns, text, evidence FROM warnings CROSS JOIN stations ON no = warnings.station_no ";

Stored<WarningChange> WarningTable::take(Statement& from) {
  Stored<WarningChange> stored;
  WarningChange& row = stored.row;
  std::string condition;
  std::string urgency;
  std::string change;
  std::string causes;
  std::string evidence;
  std::optional<std::string> figure;
  FigureShift shift;
  from.take_all(stored.id, row.time, row.station.site, row.station.station, row.line, condition, urgency, change,
                causes, row.forecast.limit_at, row.forecast.limit_at_earliest, row.forecast.limit_at_latest, figure,
                shift.value, shift.usual, shift.spread, shift.limit, shift.since, shift.turns, row.text,
                evidence);
  row.condition = named<Condition>(condition, condition_count);
  row.urgency = named<Urgency>(urgency, 3);
  row.change = named<Change>(change, 3);
  row.causes = causes_of(causes);
  row.evidence = evidence_of(evidence);
  if (figure) {
    shift.figure = *figure;
    row.shift = shift;
  }
  return stored;
}

}  // namespace driftline::history
