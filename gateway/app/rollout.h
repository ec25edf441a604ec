// Changes of thresholds that are proposed, looked at, put in force and taken back, by whom, when and why.
//
// A proposal is a file of the configuration folder, proposals/NAME.json, that a person can read: for whom, which thresholds, and
// all that was done with it. Putting it in force writes the thresholds where a person would have written them (a station's own
// entry, kinds/, sites/ or rules.json; config_edit.h), all files or none, and only if the whole configuration can then be used;
// taking it back writes what stood there before. The gateway takes the new files at its next reload, and brings what was done
// into the history's log.
//
// One process at a time changes a folder: a lock file in proposals/ sees to it.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "gateway/app/config.h"
#include "gateway/history/batch.h"
#include "rules/records/identity.h"
#include "rules/records/time.h"

namespace driftline::rollout {

enum class Act : std::uint8_t {
  proposed,
  silent,      // judged beside what is in force, nobody is called (gateway/app/trial/silent.h)
  in_force,
  taken_back,  // what stood before is in force again
  withdrawn,   // it is not to be put in force
  compared,    // the silent time is over; what differed stands in `why`. Leaves the state as it was
};
[[nodiscard]] std::string_view name_of(Act act);

// What undoes a change of one file.
struct Undo {
  std::string file;   // within the folder
  std::string at;     // JSON Pointer of the object that the patch lies over
  std::string patch;  // JSON Merge Patch
  bool operator==(const Undo&) const = default;
};

struct Done {
  Act act = Act::proposed;
  Time at{};
  std::string by;
  std::string why;
  int days = 0;              // of a silent time
  std::vector<Undo> undo;    // of in_force
  bool operator==(const Done&) const = default;
};

struct Proposal {
  std::string name;          // "2026-03-01-1"
  std::string target;        // "all", "site northyard", "kind twin", "northyard/ps-01", or several stations with commas
  std::string thresholds;    // JSON Merge Patch, as rules.json is one
  std::vector<Done> done;    // first: proposed
  [[nodiscard]] Act state() const;
  [[nodiscard]] const Done* last(Act act) const;  // nullptr: never
};

// What was written and what became of it.
struct Outcome {
  Proposal proposal;
  std::vector<std::string> files;  // that were changed
  std::vector<std::string> notes;  // stations on which a nearer layer keeps another value, and the like
};
template <class T>
using Or = tl::expected<T, std::string>;  // an error is one or more sentences

struct Draft {
  std::string target;
  std::string thresholds;
  std::string by;
  std::string why;
};

// By name; files that cannot be read are told in `problems`.
[[nodiscard]] std::vector<Proposal> proposals(const std::string& folder, std::vector<ConfigProblem>& problems);
[[nodiscard]] Or<Proposal> proposal_named(const std::string& folder, std::string_view name);

[[nodiscard]] Or<Proposal> propose(const std::string& folder, const Draft& draft, Time now);
[[nodiscard]] Or<Outcome> put_in_force(const std::string& folder, std::string_view name, const std::string& by, const std::string& why, Time now);
// The last one that was put in force, or the one named. Refused where somebody has changed the values since.
[[nodiscard]] Or<Outcome> take_back(const std::string& folder, std::string_view name, const std::string& by, const std::string& why, Time now);
[[nodiscard]] Or<Outcome> go_silent(const std::string& folder, std::string_view name, int days, const std::string& by, const std::string& why, Time now);
// What came of a silent time. Only of one that is silent; by the gateway.
[[nodiscard]] Or<Outcome> note_comparison(const std::string& folder, std::string_view name, const std::string& what, Time now);
[[nodiscard]] Or<Outcome> withdraw(const std::string& folder, std::string_view name, const std::string& by, const std::string& why, Time now);

// All that was done, as rows of the history's log. What cannot be read is passed over: it keeps nothing from running.
[[nodiscard]] std::vector<history::RolloutRow> rows_of(const std::string& folder);
// Of a reload: what it changed.
[[nodiscard]] history::RolloutRow reload_row(const std::vector<std::string>& changes, Time now);

// Configured stations that a proposal is for.
[[nodiscard]] std::vector<StationId> stations_of(const Proposal& proposal, const ConfigOutcome& config);

// What changes between two configurations, a line a station: "northyard/ps-01: plan_days 14 -> 21".
[[nodiscard]] std::vector<std::string> changes_between(const PlantSettings& before, const PlantSettings& after);

}  // namespace driftline::rollout
