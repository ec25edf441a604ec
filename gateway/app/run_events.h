// What the running gateway says and counts, beyond its rooms.
#pragma once

#include <string_view>

#include "gateway/app/plant.h"

namespace driftline::run_events {

void started(std::string_view what);
void stopping(std::string_view why);
void stopping_part(std::string_view name);
void stopped();
void fault(const Judged::FaultRow& row);  // subject: station, or topic where there is none
void warning(const WarningChange& change);
void commit_failed(std::string_view cause, std::string_view text);
void tend_failed(std::string_view cause, std::string_view text);
void state_unreadable(std::string_view who);  // starts empty
void reloaded(std::string_view what);
void reload_refused(std::string_view why);  // what ran goes on
void thread_hangs(std::string_view name);
void failed(std::string_view why);

}  // namespace driftline::run_events
