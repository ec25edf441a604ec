// The history as an outbox: the rows behind cursor `mqtt`, in the order of each table, as the messages that
// topics.h describes. Bodies are the rows of gateway/history/row_text.h, without their line end.
//
// What is retained of a life is its state as it is when its changes are read, after the last of them: it may be ahead of a
// change that is still to come, never behind one that was told.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "gateway/broker/publisher.h"
#include "gateway/history/history.h"

namespace driftline::broker {

inline constexpr std::string_view mqtt_cursor = "mqtt";

// What the history must be told at opening.
[[nodiscard]] history::CursorUse mqtt_cursor_use();

// `history` outlives the outbox. Opens its reader with the first `next`, on the publishing thread. A history
// that cannot be read or a cursor that cannot be moved is said, and counts as nothing waiting: the next look
// tries again.
[[nodiscard]] Outbox history_outbox(history::History& history, std::string output_root);

// One row each; for the tests that hold the documented bytes.
void append_messages(std::vector<Outgoing>& out, std::string_view root, const history::HalfCycleRow& row);
void append_messages(std::vector<Outgoing>& out, std::string_view root, const WarningChange& row);
void append_messages(std::vector<Outgoing>& out, std::string_view root, const ReservoirDay& row);
void append_messages(std::vector<Outgoing>& out, std::string_view root, const ForecastDay& row);
void append_messages(std::vector<Outgoing>& out, std::string_view root, const history::LifeChange& row);  // the change alone
[[nodiscard]] Outgoing life_message(std::string_view root, const history::LifeRow& life);

}  // namespace driftline::broker
