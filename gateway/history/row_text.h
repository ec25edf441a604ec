// The rows that `driftline replay` writes, as text: one JSON object and a line end each, members in the order that the
// README promises, null where a figure is unknown. The history's bytes after a crash are compared in this form.
//
// Rounded for people before the shortest form is taken: seconds 3 decimals, bar, per cent and degrees 2, days 2, use a day 4,
// weights of causes 3, and those of one row sum to 1 as printed (largest remainder). A figure that is not finite is null; so
// is a time that RFC 3339 cannot write (years beyond 9999). Text that is not UTF-8 gets U+FFFD. Two builds write the same
// bytes. Appends to `out` and allocates nothing else. Any thread.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "gateway/history/life_rows.h"
#include "gateway/telemetry/fault.h"
#include "rules/records/half_cycle.h"
#include "rules/records/identity.h"
#include "rules/records/warning.h"

namespace driftline {

void append_row(std::string& out, const StationId& station, const HalfCycle& turn);  // half-cycles.ndjson
void append_row(std::string& out, const WarningChange& change);                      // warnings.ndjson
void append_row(std::string& out, const ReservoirDay& day);                          // reservoirs.ndjson
void append_row(std::string& out, const ForecastDay& day);                           // forecasts.ndjson

// faults.ndjson: `received` and `topic` are the message's, `station` is empty where the topic does not tell.
void append_row(std::string& out, Time received, std::string_view topic, const std::optional<StationId>& station,
                const Fault& fault);

// The life of a warning, over MQTT only: its state now, and one change of it. Names that are not known, and words that nobody
// gave, are null.
void append_row(std::string& out, const history::LifeRow& life);
void append_row(std::string& out, const history::LifeChange& change);

}  // namespace driftline
