// Names of what the gateway publishes. Pure. `<out>` is the output root.
//
//   <out>/gateway/<client id>/presence
//     retained; {"state":"online"|"offline","time":...}; the will says offline
//   <out>/gateway/<client id>/heartbeat
//     retained; how the gateway is, every half minute; the will says {"state":"lost"}
//   <out>/gateway/<client id>/acts
//     not ours: what people do to warnings is asked for here (gateway/app/act_desk.h)
//   <out>/gateway/<client id>/answers
//     the answer to each of these
//   <out>/warnings/<site>/<station>/<place>/<condition>
//     retained; the last row of the warning while it is open, empty (so: nothing retained) once it has cleared
//   <out>/changes/<site>/<station>
//     each change of a warning, as a row of warnings.ndjson
//   <out>/lives/<site>/<station>/<place>/<condition>
//     retained; the state of the warning's life: whose it is, until when it is shelved; empty once it is plainly normal
//   <out>/life-changes/<site>/<station>
//     each change of a life: what happened, who did it, why
//   <out>/half-cycles/<site>/<station>
//     each half-cycle, as a row of half-cycles.ndjson
//   <out>/reservoirs/<site>/<station>
//     retained; the day's row of reservoirs.ndjson
//   <out>/forecasts/<site>/<station>/<place>/<condition>
//     the day's row of forecasts.ndjson
//
// `<place>` is `line-1` .. `line-8`, or `station`. Site and station are of the telemetry contract's letters,
// so every topic is valid. A cleared warning's last words are in the stream of changes: a retained "cleared"
// would stay for ever where messages cannot expire (3.1.1), and would make whoever connects later sift open
// from closed.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "rules/records/finding.h"
#include "rules/records/identity.h"

namespace driftline::broker {

struct WarningKey {
  StationId station;
  std::optional<int> line;
  Condition condition = Condition::slow_to_pressure;
};

[[nodiscard]] std::string presence_topic(std::string_view out, std::string_view client_id);
[[nodiscard]] std::string heartbeat_topic(std::string_view out, std::string_view client_id);
[[nodiscard]] std::string acts_topic(std::string_view out, std::string_view client_id);
[[nodiscard]] std::string answers_topic(std::string_view out, std::string_view client_id);
[[nodiscard]] std::string warning_topic(std::string_view out, const WarningKey& key);
[[nodiscard]] std::string changes_topic(std::string_view out, const StationId& station);
[[nodiscard]] std::string life_topic(std::string_view out, const WarningKey& key);
[[nodiscard]] std::string life_changes_topic(std::string_view out, const StationId& station);
[[nodiscard]] std::string half_cycles_topic(std::string_view out, const StationId& station);
[[nodiscard]] std::string reservoir_topic(std::string_view out, const StationId& station);
[[nodiscard]] std::string forecast_topic(std::string_view out, const WarningKey& key);

// What the source subscribes to: everything under the root, so that a topic that is none of the contract's is
// seen and becomes a fault.
[[nodiscard]] std::string telemetry_filter(std::string_view telemetry_root);

// A root is 1 level or more of UTF-8 without empty levels, wildcards, controls or a leading `$`. Empty: it is
// one; otherwise what is wrong.
[[nodiscard]] std::optional<std::string> problem_of_root(std::string_view root);

// Whether what is published under `out` would come back through a subscription under `in`.
[[nodiscard]] bool lies_under(std::string_view out, std::string_view in);

// Whether a pattern of topics fits any that we publish under `out`. A level of the pattern that is `+` or in braces, as in
// a mapping's topic, fits any level.
[[nodiscard]] bool may_be_ours(std::string_view pattern, std::string_view out);

}  // namespace driftline::broker
