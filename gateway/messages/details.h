// What a message tells beside the machine's word: the trend of the figure, how much grease is needed, why it has ended. Reads the
// history; what cannot be read is left out, for a message without a picture is better than none.
#pragma once

#include <map>
#include <optional>

#include "gateway/history/reader.h"
#include "gateway/messages/bundles.h"

namespace driftline::messages {

struct StationFacts {
  std::optional<double> reservoir_kg;
  bool operator==(const StationFacts&) const = default;
};
using Facts = std::map<StationId, StationFacts>;  // the stations that are configured

void fill_in(Item& item, history::Reader& reader, const Facts& facts, Time now);

}  // namespace driftline::messages
