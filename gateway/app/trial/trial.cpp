#include "gateway/app/trial/trial.h"

#include <algorithm>
#include <array>
#include <mutex>
#include <utility>

#include "gateway/app/trial/parallel.h"
#include "gateway/app/trial/play.h"

namespace driftline::trial {
namespace {

constexpr double lead_days_most = 60;       // a warning longer before a trouble has hardly to do with it
constexpr double cleared_before_days = 2;   // one that has cleared this long before it neither
constexpr double fault_days_most = 45;      // before a trouble nothing is noise for this long
constexpr double repair_days = 3;           // after it
constexpr double long_open_days = 5;        // noise does not keep a warning open for longer
constexpr int turns_before_failure = 20;    // reached in a row: a miss after them is a failure and no trouble of starting up

// Troubles come from the notes and from turns that missed their target after a row of good ones.
class TroubleWatch {
 public:
  void take(const FedEvent& fed, const HalfCycle* turn) {
    if (turn != nullptr) take(*turn);
    if (const auto* note = std::get_if<ServiceNote>(&fed.body)) take(*note);
  }
  std::vector<Trouble> troubles;

 private:
  void take(const HalfCycle& turn) {
    int& reached = reached_[static_cast<std::size_t>(std::clamp(turn.line, 1, lines_max) - 1)];
    if (turn.outcome == Outcome::reached) ++reached;
    if (turn.outcome != Outcome::not_reached) return;
    if (reached >= turns_before_failure) troubles.push_back({turn.pump_start, turn.line, Trouble::Kind::failed, ""});
    reached = 0;
  }
  void take(const ServiceNote& note) {
    if (note.kind != ServiceKind::repaired && note.kind != ServiceKind::purged) return;
    troubles.push_back({note.time, note.line, note.kind == ServiceKind::repaired ? Trouble::Kind::repaired : Trouble::Kind::purged, note.note});
  }
  std::array<int, lines_max> reached_{};
};

bool tells_of(const Episode& episode, const Trouble& trouble) {
  switch (episode.condition) {
    case Condition::reservoir_low:
    case Condition::short_reservoir_life:
    case Condition::station_silent:
    case Condition::missed_turn: return false;
    case Condition::pressure_not_reached:
      if (trouble.kind == Trouble::Kind::failed) return false;  // it is the trouble
      break;
    default: break;
  }
  return !episode.line || !trouble.line || *episode.line == *trouble.line;
}

// A reservoir that runs low for a week, or a link that is away, makes no turn's figures worse.
bool is_of_a_line(Condition condition) {
  switch (condition) {
    case Condition::slow_to_pressure:
    case Condition::quick_to_pressure:
    case Condition::pressure_not_reached:
    case Condition::peak_shift:
    case Condition::residual_pressure:
    case Condition::slow_vent:
    case Condition::doubtful_sensor: return true;
    default: return false;
  }
}

bool same_place(const Episode& a, const Episode& b) { return a.line == b.line && a.condition == b.condition; }

bool overlap(const Episode& a, const Episode& b) {
  const auto ends_after = [](const Episode& one, Time at) { return !one.cleared || *one.cleared >= at; };
  return ends_after(a, b.raised) && ends_after(b, a.raised);
}

std::vector<Episode> of_station(const std::vector<WarningChange>& changes, const StationId& id, Time from) {
  std::vector<WarningChange> own;
  std::copy_if(changes.begin(), changes.end(), std::back_inserter(own), [&](const WarningChange& c) { return c.station == id; });
  return episodes_of(own, from);
}

}  // namespace

std::vector<Stretch> not_noise(const std::vector<Trouble>& troubles, const std::vector<Episode>& in_force, Time until) {
  std::vector<Stretch> stretches;
  for (const Trouble& trouble : troubles)
    stretches.push_back({trouble.line, later_by_days(trouble.at, -fault_days_most), later_by_days(trouble.at, repair_days)});
  for (const Episode& episode : in_force) {
    if (!is_of_a_line(episode.condition)) continue;
    const Time end = episode.cleared.value_or(until);
    if (days_between(episode.raised, end) > long_open_days) stretches.push_back({episode.line, episode.raised, end});
  }
  return stretches;
}

void compare(CandidateResult& result, const std::vector<Episode>& in_force) {
  std::vector<bool> met(in_force.size(), false);
  for (const Episode& episode : result.episodes) {
    Difference difference = Difference::added;
    for (std::size_t i = 0; i < in_force.size(); ++i) {
      if (met[i] || !same_place(episode, in_force[i]) || !overlap(episode, in_force[i])) continue;
      met[i] = true;
      difference = episode.raised == in_force[i].raised  ? Difference::same
                   : episode.raised < in_force[i].raised ? Difference::earlier
                                                         : Difference::later;
      break;
    }
    result.differences.push_back(difference);
  }
  for (std::size_t i = 0; i < in_force.size(); ++i)
    if (!met[i]) result.gone.push_back(in_force[i]);
}

std::string_view name_of(Trouble::Kind kind) {
  switch (kind) {
    case Trouble::Kind::failed: return "failed";
    case Trouble::Kind::repaired: return "repaired";
    case Trouble::Kind::purged: return "purged";
  }
  return "";
}

std::string_view name_of(Difference difference) {
  switch (difference) {
    case Difference::same: return "same";
    case Difference::earlier: return "earlier";
    case Difference::later: return "later";
    case Difference::added: return "added";
    case Difference::gone: return "gone";
  }
  return "";
}

int CandidateResult::before_trouble() const {
  return static_cast<int>(std::count_if(episodes.begin(), episodes.end(), [](const Episode& e) { return e.trouble.has_value(); }));
}

std::vector<Episode> episodes_of(const std::vector<WarningChange>& changes, Time from) {
  std::vector<Episode> all;
  std::vector<std::size_t> open;
  for (const WarningChange& change : changes) {
    const auto at = std::find_if(open.begin(), open.end(), [&](std::size_t i) {
      return all[i].line == change.line && all[i].condition == change.condition;
    });
    if (change.change == Change::raised) {
      open.push_back(all.size());
      all.push_back({change.line, change.condition, change.urgency, change.time, std::nullopt,
                     change.causes.empty() ? std::nullopt : std::optional(change.causes.front().cause), std::nullopt, 0});
    } else if (at != open.end()) {
      Episode& episode = all[*at];
      episode.urgency = std::max(episode.urgency, change.urgency);
      if (change.change != Change::cleared) continue;
      episode.cleared = change.time;
      open.erase(at);
    }
  }
  std::erase_if(all, [&](const Episode& e) { return e.cleared && *e.cleared < from; });
  return all;
}

void match_troubles(std::vector<Episode>& episodes, const std::vector<Trouble>& troubles) {
  for (Episode& episode : episodes) {
    for (std::size_t i = 0; i < troubles.size(); ++i) {
      const Trouble& trouble = troubles[i];
      const double lead = days_between(episode.raised, trouble.at);
      if (lead <= 0 || lead > lead_days_most || !tells_of(episode, trouble)) continue;
      if (episode.cleared && days_between(*episode.cleared, trouble.at) > cleared_before_days) continue;
      episode.trouble = i;
      episode.lead_days = lead;
      break;
    }
  }
}

Listened listen(const history::FedTape& tape, const rules::StationContext& in_force, Time from, Time until, const TurnHeard& also) {
  Listened heard;
  heard.steps = play(tape, in_force, until, [&](const HalfCycle& turn, const rules::TurnFigures& figures, const rules::StationState&) {
    if (turn.pump_start >= from) heard.noise.take(turn, figures);
    if (also) also(turn, figures);
  });
  TroubleWatch troubles;
  (void)tape.play([&](const FedEvent& fed, const HalfCycle* turn) {
    if (fed.received > until) return;
    troubles.take(fed, turn);
    if (turn == nullptr) return;
    if (heard.turns++ == 0) heard.from = turn->pump_start;
    heard.to = std::max(heard.to, turn->pump_start);
  });
  heard.troubles = std::move(troubles.troubles);
  std::erase_if(heard.troubles, [&](const Trouble& t) { return t.at < from; });
  std::stable_sort(heard.troubles.begin(), heard.troubles.end(), [](const Trouble& a, const Trouble& b) { return a.at < b.at; });
  return heard;
}

TrialReport run_trial(const Material& material, const Contexts& in_force, const std::vector<Candidate>& candidates,
                      const TrialSettings& settings, const std::function<void(std::size_t, std::size_t)>& tell) {
  const std::size_t stations = material.stations.size();
  const std::size_t variants = candidates.size() + 1;
  const auto context_of = [&](std::size_t variant, const StationId& id) -> const rules::StationContext& {
    return variant == 0 ? in_force.at(id) : candidates[variant - 1].contexts.at(id);
  };
  TrialReport report;
  report.names.push_back("in force");
  for (const Candidate& candidate : candidates) report.names.push_back(candidate.name);
  report.from = material.from;
  report.until = material.until;
  report.stations.resize(stations);
  std::vector<std::vector<std::vector<fold::Step>>> steps(stations);
  std::vector<StationNoise>& noise = report.noise;
  noise.resize(stations);
  std::mutex telling;
  std::size_t done = 0;
  const auto told = [&](const std::optional<std::string>& problem) {
    const std::lock_guard guard(telling);
    if (problem) report.problems.push_back(*problem);
    tell(++done, 2 * stations);
  };

  in_parallel(stations, settings.threads, [&](std::size_t i) {
    StationResult& result = report.stations[i];
    result.id = material.stations[i];
    const auto tape = material.tape(result.id);
    steps[i].resize(variants);
    if (!tape) return told(result.id.site + "/" + result.id.station + ": " + tape.error());
    Listened heard = listen(**tape, context_of(0, result.id), material.from, material.until);
    steps[i][0] = std::move(heard.steps);
    for (std::size_t v = 1; v < variants; ++v) steps[i][v] = play(**tape, context_of(v, result.id), material.until);
    result.from = heard.from;
    result.to = heard.to;
    result.turns = heard.turns;
    result.troubles = std::move(heard.troubles);
    noise[i] = std::move(heard.noise);
    told(std::nullopt);
  });

  // A site's stations stand beside each other.
  std::vector<std::size_t> sites;
  for (std::size_t i = 0; i < stations; ++i)
    if (i == 0 || material.stations[i].site != material.stations[i - 1].site) sites.push_back(i);
  in_parallel(sites.size(), settings.threads, [&](std::size_t s) {
    const std::size_t begin = sites[s];
    const std::size_t end = s + 1 < sites.size() ? sites[s + 1] : stations;
    for (std::size_t v = 0; v < variants; ++v) {
      std::map<std::string, std::vector<fold::Step>> of_site;
      for (std::size_t i = begin; i < end; ++i) of_site[material.stations[i].station] = std::move(steps[i][v]);
      const SiteStory story = play_site(material.stations[begin].site, std::move(of_site), material.until);
      for (std::size_t i = begin; i < end; ++i) {
        CandidateResult& result = report.stations[i].candidates.emplace_back();
        result.episodes = of_station(story.warnings, material.stations[i], material.from);
        match_troubles(result.episodes, report.stations[i].troubles);
        compare(result, report.stations[i].candidates.front().episodes);
      }
    }
  });

  in_parallel(stations, settings.threads, [&](std::size_t i) {
    StationResult& result = report.stations[i];
    noise[i].leave_out(not_noise(result.troubles, result.candidates.front().episodes, material.until));
    result.quiet_turns = noise[i].turns();
    result.quiet_days = noise[i].days();
    if (settings.priced) {
      Pricing pricing(noise[i], context_of(0, result.id).thresholds, settings.price);
      for (std::size_t v = 0; v < variants; ++v) {
        result.candidates[v].false_a_year = pricing.false_together(context_of(v, result.id).thresholds);
        for (const Condition condition : chart_conditions)
          if (const auto price = pricing.of(condition, context_of(v, result.id).thresholds))
            result.candidates[v].prices.emplace(condition, *price);
      }
    }
    told(std::nullopt);
  });
  return report;
}

}  // namespace driftline::trial
