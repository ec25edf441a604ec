// Between the plant, which knows nothing of the store, and the history, which knows nothing of the plant.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "gateway/app/plant.h"
#include "gateway/history/batch.h"
#include "gateway/history/rows.h"

namespace driftline {

// Appends; called once a step, so that several steps become one transaction.
void append_judged(history::Batch& batch, Judged&& judged);

// Nothing worth a transaction of its own is in it.
[[nodiscard]] bool is_empty(const history::Batch& batch);

// Names of stations and sites whose saved state could not be read: they start empty.
[[nodiscard]] std::vector<std::string> restore(Plant& plant, const history::SavedStates& states);

}  // namespace driftline
