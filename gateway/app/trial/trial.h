// A trial: candidate thresholds over what the rules were fed, against those in force.
//
// For each station and candidate: which warnings would have come and gone, which of them before trouble that people noted or
// the station itself met, with how many days of lead, and what the thresholds cost (price.h). Stations are tried in parallel,
// a tape is loaded once for all candidates; what a site's stations have in common is judged site by site for each candidate.
// The result depends on neither threads nor the order of work.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "gateway/app/fold.h"
#include "gateway/app/trial/price.h"
#include "gateway/history/fed_tape.h"
#include "rules/judgement/station_rules.h"
#include "rules/records/warning.h"

namespace driftline::trial {

using Contexts = std::map<StationId, rules::StationContext>;

// Where the tapes come from: a history or a recording (material.h).
struct Material {
  std::vector<StationId> stations;  // sorted
  Time from{};                      // warnings before this are judged but not told
  Time until{};
  // Any thread; an error is a sentence.
  std::function<tl::expected<std::shared_ptr<const history::FedTape>, std::string>(const StationId&)> tape;
};

struct Candidate {
  std::string name;
  Contexts contexts;  // of every station of the material
};

// The station could not do its work, or a person worked on it.
struct Trouble {
  enum class Kind : std::uint8_t { failed, repaired, purged };
  Time at{};
  std::optional<int> line;  // empty: the whole station
  Kind kind = Kind::repaired;
  std::string note;
  bool operator==(const Trouble&) const = default;
};
[[nodiscard]] std::string_view name_of(Trouble::Kind kind);

// A warning from raised to cleared.
struct Episode {
  std::optional<int> line;
  Condition condition = Condition::slow_to_pressure;
  Urgency urgency = Urgency::notice;  // the highest it had
  Time raised{};
  std::optional<Time> cleared;        // empty: still open at the end
  std::optional<Cause> cause;         // the likeliest when raised
  std::optional<std::size_t> trouble; // index of the one it came before
  double lead_days = 0;               // to that trouble
  bool operator==(const Episode&) const = default;
};

enum class Difference : std::uint8_t { same, earlier, later, added, gone };
[[nodiscard]] std::string_view name_of(Difference difference);

struct CandidateResult {
  std::vector<Episode> episodes;          // by time
  std::vector<Difference> differences;    // of each episode to those in force
  std::vector<Episode> gone;              // in force, and not with this candidate
  std::map<Condition, Price> prices;      // of conditions with a chart, where there is noise enough
  double false_a_year = 0;                // of all that is priced, together
  [[nodiscard]] int before_trouble() const;
  [[nodiscard]] int unexplained() const { return static_cast<int>(episodes.size()) - before_trouble(); }
};

struct StationResult {
  StationId id;
  Time from{};                              // first and last turn
  Time to{};
  std::size_t turns = 0;
  std::size_t quiet_turns = 0;              // of them noise: of the line with fewest
  double quiet_days = 0;                    // that those stand for
  std::vector<Trouble> troubles;            // by time
  std::vector<CandidateResult> candidates;  // first: those in force, then as given
};

struct TrialSettings {
  int threads = 1;
  PriceSettings price;
  bool priced = true;
};

struct TrialReport {
  std::vector<std::string> names;  // "in force", then as given
  Time from{};
  Time until{};
  std::vector<StationResult> stations;
  std::vector<StationNoise> noise;    // of each station
  std::vector<std::string> problems;  // stations that could not be read
};

// `tell(done, of)`: after each station; any thread, one at a time.
[[nodiscard]] TrialReport run_trial(const Material& material, const Contexts& in_force, const std::vector<Candidate>& candidates,
                                    const TrialSettings& settings, const std::function<void(std::size_t, std::size_t)>& tell);

// The station's own noise with the thresholds in force, and what it met: for suggest.h and the page.
struct Listened {
  StationNoise noise;
  std::vector<Trouble> troubles;
  std::vector<fold::Step> steps;
  Time from{};
  Time to{};
  std::size_t turns = 0;
};
// `also`: called with each turn that is charted.
using TurnHeard = std::function<void(const HalfCycle&, const rules::TurnFigures&)>;
[[nodiscard]] Listened listen(const history::FedTape& tape, const rules::StationContext& in_force, Time from, Time until,
                              const TurnHeard& also = {});

// From warning changes of one station, in order.
[[nodiscard]] std::vector<Episode> episodes_of(const std::vector<WarningChange>& changes, Time from);
// Fills differences and gone.
void compare(CandidateResult& result, const std::vector<Episode>& in_force);
// What of a station's turns is no noise: around troubles, and while a warning of a line was open for long.
[[nodiscard]] std::vector<Stretch> not_noise(const std::vector<Trouble>& troubles, const std::vector<Episode>& in_force, Time until);
void match_troubles(std::vector<Episode>& episodes, const std::vector<Trouble>& troubles);

}  // namespace driftline::trial
