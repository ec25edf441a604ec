// Is the station heard, and do its turns come?
//
// A station whose messages come but cannot be used tells no more than a silent one, and is told under the same condition, with
// another reason and without a cause of silence: nobody should drive there to look for power.
//
// Silence is measured on the gateway's clock against the station's own habit: the longest usual gap between two things
// heard, slowly forgotten; three of it and five minutes, at least half an hour, are silence. A turn is missed when, with the
// station heard without a break, more than two of the line's periods have gone by since its last turn: one turn left
// out, with room for a slow report. While nothing is heard no turn is called missed: it may have come.
#pragma once

#include <optional>
#include <vector>

#include "rules/judgement/station_rules.h"
#include "rules/judgement/station_state.h"

namespace driftline::rules {

inline constexpr double silent_at_least_s = 1800;
inline constexpr double silent_unlearnt_s = 6 * 3600;
inline constexpr double silent_at_most_s = 12 * 3600;
inline constexpr double offline_grace_s = 1200;  // a controller that restarts is back within minutes

// Something came at `received`, measured at `time` where known.
void hear(StationState& state, Time received, std::optional<Time> time, bool late, const StationContext& context, std::vector<Judgement>& out);
void hear_unusable(StationState& state, Time received, std::vector<Judgement>& out);
void hear_presence(StationState& state, const PresenceChange& presence, Time received);
[[nodiscard]] std::optional<Time> silent_at(const StationState& state);
// In a quiet period it is put off to the period's end.
void judge_silence(StationState& state, Time now, const StationContext& context, std::vector<Judgement>& out);
void judge_missed(StationState& state, Time station_time, Time now, const StationContext& context, std::vector<Judgement>& out);
// The line's turn came, whatever its outcome.
void turn_came(StationState& state, LineState& line, int number, Time judged, std::vector<Judgement>& out);

}  // namespace driftline::rules
