// The open warnings of a site, by station, line and condition, and what its stations have in common.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <tuple>
#include <vector>

#include "rules/records/finding.h"
#include "rules/records/time.h"

namespace driftline::rules {

struct WarningKey {
  std::string station;
  std::uint8_t line = 0;  // 0: the whole station
  Condition condition = Condition::slow_to_pressure;
  auto operator<=>(const WarningKey&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(station, line, condition);
  }
};

struct OpenWarning {
  Time raised{};
  Time last{};               // of the last finding that held it
  Urgency urgency = Urgency::notice;
  Forecast forecast;
  std::optional<Cause> first_cause;
  std::optional<Time> since;  // when the figure began to shift, or the last word before a silence
  bool operator==(const OpenWarning&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(raised, last, urgency, forecast, first_cause, since);
  }
};

struct SiteState {
  std::string site;
  std::map<WarningKey, OpenWarning> open;
  std::optional<Time> day_done;              // forecast rows are written up to this midnight
  bool operator==(const SiteState&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(site, open, day_done);
  }
};

}  // namespace driftline::rules
