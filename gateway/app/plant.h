// The plant: every watched site and station, and the fold over them. Telemetry in, what was made of it out.
//
// Composition of decode, gateway/cycles and rules without clock, I/O or logger. The live gateway and a replay drive it
// alike, so both give the same answer to the byte. What is promised, and held by tests/unit/app/plant_test.cpp:
//
//   * The result depends on the messages and their `received` stamps only: not on how they are cut into batches, nor on
//     the number of threads.
//   * Silence is an input. Before a message received at R is taken, its station and site have been advanced to R: each
//     has done what it had been waiting for, in (time, station) order.
//   * A station with output in a batch is listed in that batch's `stations` with its new state. Committing both in one
//     transaction makes a crash invisible: afterwards every station goes on from the position in its own state and skips
//     the messages that it has already taken.
//
// One thread at a time; it starts `threads` of its own within a call.
#pragma once

#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "gateway/telemetry/decode.h"
#include "gateway/telemetry/mapping.h"
#include "rules/conditions/thresholds.h"
#include "rules/judgement/station_rules.h"
#include "rules/records/fed_event.h"
#include "rules/records/half_cycle.h"
#include "rules/records/turn_usual.h"
#include "rules/records/warning.h"

namespace driftline {

// Place of a message in the order of arrival: rises from message to message. In the live gateway the journal's position.
using Position = std::uint64_t;

struct PlantSettings {
  std::string topic_root = "grease";
  bool watch_unknown_stations = true;  // with `defaults`; otherwise their messages are faults
  Thresholds defaults;                 // for stations that no configuration names
  std::map<StationId, rules::StationContext> stations;
  // Other layouts of topics and messages: a topic that is not under topic_root is read by the first of these that fits it.
  // They are ones that MappedDecoder::make accepts (configuration has seen to that); others break an invariant.
  std::vector<Mapping> mappings;
  int threads = 1;
  bool keep_states = true;             // a replay that saves nothing spares itself the work
  bool keep_fed = false;               // what the rules were fed comes out too: with the states, or with each batch without
};

struct PlantMessage {
  Position position = 0;
  Message message;
};

// What one batch caused. Each list is in the order in which it was settled.
struct Judged {
  struct HalfCycleRow {
    StationId station;
    HalfCycle half_cycle;
    TurnUsual usual{};
  };
  // New samples of a watched station, and the run that reconstruction sees going on. Not stored: for those who look on.
  struct SeenRow {
    StationId station;
    std::vector<Sample> samples;
    std::optional<Time> run_since;
    std::optional<int> run_line;
  };
  struct FedRow {
    StationId station;
    FedEvent event;
  };
  struct FaultRow {
    Time received{};
    std::string topic;
    std::optional<StationId> station;
    Fault fault;
  };
  struct StationSaved {
    StationId station;
    Position reached = 0;  // messages up to and including this one are in the state
    std::string bytes;     // for Plant::restore
  };
  struct SiteSaved {
    std::string site;
    std::string bytes;
  };
  std::vector<HalfCycleRow> half_cycles;
  std::vector<FedRow> fed;  // up to the state in `stations`; each station's in order, a TurnTold for the next of half_cycles
  std::vector<WarningChange> warnings;
  std::vector<ReservoirDay> reservoirs;
  std::vector<ForecastDay> forecasts;
  std::vector<FaultRow> faults;
  std::vector<StationSaved> stations;  // those with output, and those that `checkpoint` chose
  std::vector<SiteSaved> sites;        // those that took part in the output
  std::vector<SeenRow> seen;           // by site and station
  std::size_t messages = 0;

  [[nodiscard]] bool has_output() const {
    return !half_cycles.empty() || !warnings.empty() || !reservoirs.empty() || !forecasts.empty() || !faults.empty();
  }
};

// What a log or a page wants to know of a station without its state.
struct StationSummary {
  StationId station;
  bool configured = false;
  std::optional<Time> last_received;
  std::uint64_t messages = 0;
  std::uint64_t samples = 0;           // could be read; each is one of the next four
  std::uint64_t samples_used = 0;
  std::uint64_t samples_doubled = 0;   // were there already
  std::uint64_t samples_behind = 0;    // came behind every window in which they could be used, or told of a time that no clock showed
  std::uint64_t samples_held = 0;      // wait for their order, for a clock's proof or for a hole to be filled
  std::uint64_t samples_refused = 0;   // beside `samples`: could not be read; a payload that is no JSON counts as one
  std::uint64_t faults = 0;
  // How much earlier than they arrive its samples are stamped, at the least lately; negative: its clock is ahead.
  std::optional<double> stamped_behind_s;
  bool set_aside = false;  // a broken invariant was met in its fold: not judged until it is rebuilt
  std::optional<ReservoirDay> reservoir;  // as it is now
};

class Plant {
 public:
  explicit Plant(PlantSettings settings);
  ~Plant();
  Plant(Plant&&) noexcept;
  Plant& operator=(Plant&&) noexcept;

  // Takes messages in order; positions rise. Afterwards everything has been advanced to the last `received`.
  // A message whose `received` lies before the plant's time is taken at the plant's time.
  [[nodiscard]] Judged judge(std::span<const PlantMessage> messages);

  // Nothing came until `now`.
  [[nodiscard]] Judged advance_to(Time now);

  // The end of a recording: settles open turns, and closes the day if it ends within the next ten minutes.
  [[nodiscard]] Judged finish();

  // Saves up to `stations_at_most` of the stations whose saved state lags furthest behind, so that recovery stays short.
  [[nodiscard]] Judged checkpoint(std::size_t stations_at_most);
  // Messages before this position are in saved states: the journal may drop them. Empty: none was taken yet.
  [[nodiscard]] std::optional<Position> needed_from() const;

  // Before the first message. False: the bytes are of an unknown version or damaged; the station starts empty.
  bool restore(const StationId& station, std::string_view bytes);
  bool restore_site(const std::string& site, std::string_view bytes);
  // From the row that was saved under an empty StationId: faults up to this position are already written.
  void restore_unplaced(Position reached);

  // New thresholds, designs and mappings from the next message on; baselines, open turns and warnings stay.
  void reconfigure(PlantSettings settings);

  // Of these stations, and no others, `Judged::seen` tells from now on. Changes nothing that is judged.
  void watch(const std::vector<StationId>& stations);

  [[nodiscard]] std::vector<StationSummary> stations() const;  // sorted
  [[nodiscard]] Time now() const;

 private:
  struct Body;
  std::unique_ptr<Body> body_;
};

}  // namespace driftline
