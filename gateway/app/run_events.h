// What the running gateway says and counts, beyond its rooms.
#pragma once

#include <string_view>

#include "gateway/app/judging.h"
#include "gateway/app/plant.h"

namespace driftline::run_events {

void started(std::string_view what);
void stopping(std::string_view why);
void stopping_part(std::string_view name);
void stopped();
void fault(const Judged::FaultRow& row);  // subject: station, or topic where there is none
void warning(const WarningChange& change);
// Its samples are stamped `behind_s` before they arrive (negative: after); said once until it is right again.
void clock_off(const StationId& station, double behind_s);
void clock_right(const StationId& station);
void samples_counted(const SampleTotals& added);  // counts, no line
// In the last hour, and in all.
void samples_withheld(const StationId& station, const SampleTotals& since, const SampleTotals& total);
void commit_failed(std::string_view cause, std::string_view text);
void tend_failed(std::string_view cause, std::string_view text);
void state_unreadable(std::string_view who);  // starts empty
void acted(std::string_view what, std::string_view warning, std::string_view who, std::string_view via);
void act_socket_failed(std::string_view why);  // the command line cannot reach this gateway
void links_unsigned(std::string_view why);     // those of messages lead to the page
void own_trouble(std::string_view what, std::string_view words);  // of the gateway itself; told to people as well
void beat_hook_failed(std::string_view why);
void beat_hook_back();
void reloaded(std::string_view what);
void reload_refused(std::string_view why);  // what ran goes on
void thread_hangs(std::string_view name);
void failed(std::string_view why);

}  // namespace driftline::run_events
