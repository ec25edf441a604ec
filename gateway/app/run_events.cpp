#include "gateway/app/run_events.h"

#include <string>

#include "gateway/events/events.h"
#include "rules/records/names.h"

namespace driftline::run_events {
namespace {

using events::Level;
using events::say;

std::string name(const StationId& station) {
  return station.site + "/" + station.station;
}

}  // namespace

void started(std::string_view what) {
  say(Level::info, "gateway-started", "", what);
}
void stopping(std::string_view why) {
  say(Level::info, "gateway-stopping", "", why);
}
void stopping_part(std::string_view part) {
  say(Level::debug, "gateway-stopping-part", part, "ending");
}
void stopped() {
  say(Level::info, "gateway-stopped", "", "everything is written; what comes now waits at the broker");
}

void fault(const Judged::FaultRow& row) {
  const std::string who = row.station ? name(*row.station) : row.topic;
  say(Level::warn, "message-fault", who + " " + std::string(name_of(row.fault.code)),
      (row.fault.where.empty() ? row.topic : row.topic + " " + row.fault.where) + ": " + row.fault.why +
          "; wanted: " + row.fault.remedy);
}

void warning(const WarningChange& change) {
  const std::string line = change.line ? " line " + std::to_string(*change.line) : std::string();
  say(Level::info, "warning-" + std::string(name_of(change.change)),
      name(change.station) + line + " " + std::string(name_of(change.condition)), change.text);
}

void commit_failed(std::string_view cause, std::string_view text) {
  say(Level::error, "history-commit-failed", cause,
      std::string(text) + "; tried again, the journal holds what comes in");
}
void tend_failed(std::string_view cause, std::string_view text) {
  say(Level::warn, "history-tend-failed", cause, text);
}
void state_unreadable(std::string_view who) {
  say(Level::warn, "state-unreadable", who,
      "its saved state is of another version or damaged: it learns anew");
}
void reloaded(std::string_view what) {
  say(Level::info, "configuration-reloaded", "", what);
}
void reload_refused(std::string_view why) {
  say(Level::error, "reload-refused", "", std::string(why) + "; what ran before goes on unchanged");
}
void thread_hangs(std::string_view part) {
  say(Level::error, "thread-hangs", part,
      "has not moved for long; the service manager is no longer told that all is well");
}
void failed(std::string_view why) {
  say(Level::error, "gateway-failed", "", why);
}

}  // namespace driftline::run_events
