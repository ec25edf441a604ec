// Rows of the history as the API writes them.
#pragma once

#include "gateway/history/rows.h"
#include "gateway/web/json_text.h"

namespace driftline::web {

void put(JsonText& json, const history::Stored<history::HalfCycleRow>& turn);
void put(JsonText& json, const ControllerSettings& settings);
void put_curve(JsonText& json, const history::Stored<history::HalfCycleRow>& turn);
void put(JsonText& json, const history::ServiceNoteRow& note);

}  // namespace driftline::web
