// What the silent judgement of a proposal keeps: one file a proposal, DATA/silent/NAME, written whole or not at all.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "rules/records/warning.h"

namespace driftline::trial {

// What was said, without the words.
struct SilentChange {
  Time time{};
  std::optional<int> line;
  Condition condition = Condition::slow_to_pressure;
  Urgency urgency = Urgency::notice;
  Change change = Change::raised;
  bool operator==(const SilentChange&) const = default;
};

// How far a station has come: all up to `received`, and of that very millisecond so many.
struct SilentMark {
  Time received = time_from_ms(0);
  std::int64_t same = 0;
  bool operator==(const SilentMark&) const = default;
};

struct SilentStation {
  StationId id;
  SilentMark mark;
  Time last_taken = time_from_ms(0);
  std::string rules;  // saved states
  std::string site;
  std::vector<SilentChange> changes;  // since the silence began
  bool operator==(const SilentStation&) const = default;
};

struct SilentRecord {
  std::string proposal;
  Time since{};
  std::vector<SilentStation> stations;  // sorted
  bool operator==(const SilentRecord&) const = default;
};

[[nodiscard]] std::optional<SilentRecord> read_silent(const std::string& folder, const std::string& proposal);
[[nodiscard]] bool write_silent(const std::string& folder, const SilentRecord& record);

// In the data folder of the gateway.
[[nodiscard]] std::string silent_folder(const std::string& data_folder);

}  // namespace driftline::trial
