#include "gateway/history/events.h"

#include "gateway/events/events.h"

namespace driftline::history::events {

namespace say_of = driftline::events;
using say_of::Level;

void failing(const std::string& file, const Trouble& trouble) {
  say_of::say(Level::error, "history-failing", file,
              std::string(name_of(trouble.cause)) + ": " + trouble.text +
                  (trouble.worth_retrying() ? "; the journal keeps what comes in until it works again" : ""));
}

void works_again(const std::string& file) { say_of::say(Level::info, "history-back", file, "rows are stored again"); }

void row_damaged(std::string_view table, std::int64_t id) {
  say_of::say(Level::error, "history-row-damaged", table, "row " + std::to_string(id) + " lacks its packed columns");
}

void rows_retired(std::string_view table, std::int64_t rows) {
  say_of::count("history-rows-retired", table, static_cast<std::uint64_t>(rows));
}

void retention_waits(const std::string& cursor, std::string_view table) {
  say_of::say(Level::warn, "history-retention-waits", cursor,
              "rows of " + std::string(table) + " are past their age and kept, because they have not been sent");
}

void cursor_forgotten(const std::string& cursor) {
  say_of::say(Level::info, "history-cursor-forgotten", cursor, "no longer in use: rows are not kept for it");
}

}  // namespace driftline::history::events
