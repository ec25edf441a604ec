#include "gateway/app/run_events.h"

#include <cmath>
#include <cstdio>
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

std::string duration_text(double seconds) {
  char text[32];
  if (seconds < 7200)
    std::snprintf(text, sizeof text, "%.0f min", seconds / 60);
  else if (seconds < 172800)
    std::snprintf(text, sizeof text, "%.1f h", seconds / 3600);
  else
    std::snprintf(text, sizeof text, "%.1f days", seconds / 86400);
  return text;
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

void clock_off(const StationId& station, double behind_s) {
  say(Level::warn, "clock-off", name(station),
      "its samples are stamped " + duration_text(std::abs(behind_s)) + (behind_s > 0 ? " before" : " after") +
          " they arrive: its clock is off, or it sends late; turns are told by its clock");
}
void clock_right(const StationId& station) {
  say(Level::info, "clock-right", name(station), "its samples are stamped as they arrive again");
}

void samples_counted(const SampleTotals& added) {
  const auto add = [](std::string_view event, std::uint64_t n) {
    if (n > 0) events::count(event, "", n);
  };
  add("samples-used", added.used);
  add("samples-doubled", added.doubled);
  add("samples-behind", added.behind);
  add("samples-refused", added.refused);
}

void samples_withheld(const StationId& station, const SampleTotals& since, const SampleTotals& total) {
  const auto text = [](const SampleTotals& t) {
    return std::to_string(t.used) + " used, " + std::to_string(t.doubled) + " doubled, " + std::to_string(t.behind) +
           " too late, " + std::to_string(t.refused) + " refused";
  };
  say(Level::warn, "samples-withheld", name(station),
      "samples of the last hour: " + text(since) + "; in all " + text(total) + ", " + std::to_string(total.held) + " held back");
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
void acted(std::string_view what, std::string_view warning, std::string_view who, std::string_view via) {
  say(Level::info, "acted", warning, std::string(who) + ": " + std::string(what) + ", by " + std::string(via));
}
void act_socket_failed(std::string_view why) {
  say(Level::warn, "act-socket-failed", "", std::string(why) + "; driftline acknowledge reaches this gateway no more");
}
void links_unsigned(std::string_view why) {
  say(Level::warn, "links-unsigned", "", std::string(why) + "; links in messages lead to the page, where people sign in");
}
void own_trouble(std::string_view what, std::string_view words) {
  say(Level::warn, "own-trouble", what, words);
}
void beat_hook_failed(std::string_view why) {
  say(Level::warn, "heartbeat-webhook-failed", "", std::string(why) + "; called again at its next time");
}
void beat_hook_back() {
  say(Level::info, "heartbeat-webhook-back", "", "it answers again");
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
