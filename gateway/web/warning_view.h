// A warning as the page shows it: the machine's last word on it and what people did.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "gateway/history/reader.h"
#include "gateway/web/json_text.h"
#include "gateway/web/problem.h"
#include "rules/records/warning.h"

namespace driftline::web {

struct WarningKey {
  StationId station;
  std::optional<int> line;
  Condition condition = Condition::slow_to_pressure;
  auto operator<=>(const WarningKey&) const = default;
};
[[nodiscard]] std::string text_of(const WarningKey& key);           // northyard/ps-01/line-2/slow-to-pressure
[[nodiscard]] WarningKey key_of(const WarningChange& change);
[[nodiscard]] std::optional<std::optional<int>> line_of_place(std::string_view place);  // line-2, station

struct ActView {
  std::string act;
  Time at{};
  std::string by, via, note, life;
  std::optional<Time> until;
};

struct WarningView {
  WarningChange last;
  bool open = true;
  std::string life = "unacknowledged";
  bool answered = false;          // acknowledged, shelved or otherwise seen to
  std::string owner;
  std::optional<Time> shelved_until;
  Time raised{};
  std::optional<Time> cleared;
  std::vector<ActView> acts;      // newest last; only where asked for
};

[[nodiscard]] const std::vector<std::string_view>& life_names();

// Open ones, of all stations; without acts.
[[nodiscard]] tl::expected<std::vector<WarningView>, history::Trouble> open_warnings(history::Reader& reader);
// Of one station: open ones, and those that have ended since `from`, newest first; with acts.
[[nodiscard]] tl::expected<std::vector<WarningView>, history::Trouble> warnings_of(history::Reader& reader, const StationId& station,
                                                                                   Time from, Time now);
// Open ones, and those that have ended since `from`; without acts.
[[nodiscard]] tl::expected<std::vector<WarningView>, history::Trouble> all_warnings(history::Reader& reader, Time from);
// What happened to it, newest last.
[[nodiscard]] tl::expected<void, history::Trouble> add_acts(history::Reader& reader, WarningView& warning);
// Worse ones first, of equal ones the older.
[[nodiscard]] bool worse(const WarningView& a, const WarningView& b);

void put(JsonText& json, const WarningView& warning);

}  // namespace driftline::web
