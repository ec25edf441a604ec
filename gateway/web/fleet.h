// The list of all stations, worst first: a value that is made anew about once a second by a thread of its own, from what the
// judging thread publishes and what is new in the history. Everybody reads the last one.
#pragma once

#include <array>
#include <atomic>
#include <condition_variable>
#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <set>
#include <string>
#include <thread>
#include <vector>

#include "gateway/history/reader.h"
#include "gateway/web/json_text.h"
#include "gateway/web/parts.h"
#include "gateway/web/strips.h"
#include "gateway/web/warning_view.h"

namespace driftline::web {

enum class StationState : std::uint8_t { heard, silent, never_heard, out_of_service, not_judged };
[[nodiscard]] const std::vector<std::string_view>& state_names();

struct FleetRow {
  StationId station;
  int lines = 0;
  StationState state = StationState::heard;
  std::optional<Time> heard;
  // Of the worst open warning; the rest of these is empty where there is none.
  std::optional<Urgency> urgency;
  Condition condition = Condition::slow_to_pressure;
  std::optional<int> line;
  Time since{};
  std::string life;
  Forecast forecast;
  std::optional<Cause> cause;
  int open = 0;
  int unanswered = 0;
  std::optional<double> level_pct, life_days, life_days_low, life_days_high;

  // But for when something was heard: see GET /api/v1/fleet/heard.
  [[nodiscard]] bool same_but_heard(const FleetRow& other) const;
};

// Rules that were started anew know nothing for a while: the row of the day does until then.
[[nodiscard]] inline bool knows_life(const std::optional<ReservoirDay>& reservoir) { return reservoir && reservoir->life_days; }

struct Head {
  int watched = 0, silent = 0, act = 0, plan = 0, notice = 0, well = 0, out_of_service = 0, not_judged = 0, unanswered = 0;
  std::optional<WarningKey> oldest;
  Time oldest_since{};
  bool operator==(const Head&) const = default;
};

struct FleetNow {
  Time as_of{};
  std::int64_t revision = 0;
  GatewayNow gateway;
  Head head;
  std::vector<std::string> sites;  // only appended to
  std::vector<FleetRow> rows;      // worst first
  std::map<StationId, std::size_t> place;  // in rows
};

// Something happened to a warning: the machine said so, a person did, or a shelf or suppression ended.
struct WarningNews {
  WarningKey key;
  rules::LifeEvent event = rules::LifeEvent::raised;
  rules::LifeState after = rules::LifeState::normal;
  Urgency urgency = Urgency::notice;
  std::string subject;  // the first line of its text; empty: it is known no more
  std::string by;
  Time time{};
};

// What has come since the last list.
struct FleetNews {
  std::shared_ptr<const FleetNow> now;
  std::vector<std::size_t> changed;  // places in rows
  bool too_many = false;             // `changed` is not all of it
  std::vector<WarningNews> warnings;
  std::vector<history::Stored<history::HalfCycleRow>> turns;      // of watched stations
  std::vector<history::Stored<history::ServiceNoteRow>> notes;    // likewise
};

class Fleet {
 public:
  using Tell = std::function<void(FleetNews)>;                    // on the fleet's thread
  using Watched = std::function<std::set<StationId>()>;
  Fleet(const WebParts& parts, Tell tell, Watched watched);
  ~Fleet();  // as stop()
  Fleet(const Fleet&) = delete;
  Fleet& operator=(const Fleet&) = delete;

  void start();
  void stop();
  void nudge();      // something new is in the history; never blocks
  void look_again();  // an act was taken: at once, and all of the warnings
  [[nodiscard]] std::uint64_t pulse() const { return pulse_; }

  [[nodiscard]] std::shared_ptr<const FleetNow> now() const;  // never null

  struct StripShape {
    Time from{};
    bool complete = false;
  };
  struct SomeStrips {
    StripShape shape;
    std::vector<std::vector<StripSlots>> of;
  };
  [[nodiscard]] SomeStrips strips(const std::vector<StationId>& stations) const;
  [[nodiscard]] std::optional<Strips::LineNow> line_now(const StationId& station, int line) const;
  // Heard of, configured, or with a turn in the history.
  [[nodiscard]] bool knows(const StationId& station) const;

 private:
  void run();
  void refresh(history::Reader& reader);
  [[nodiscard]] bool find_beginning(history::Reader& reader);
  [[nodiscard]] bool read_turns(history::Reader& reader, FleetNews& news);
  [[nodiscard]] std::string subject_of(const WarningKey& key, const std::vector<WarningView>& open) const;
  [[nodiscard]] bool read_reservoirs(history::Reader& reader);
  [[nodiscard]] bool read_notes(history::Reader& reader, FleetNews& news);
  [[nodiscard]] bool read_warnings(history::Reader& reader, FleetNews& news);
  [[nodiscard]] std::shared_ptr<FleetNow> made() const;
  void compare(FleetNews& news);

  const WebParts& parts_;
  const Tell tell_;
  const Watched watched_;
  std::thread thread_;
  std::atomic<std::uint64_t> pulse_{0};

  // The thread's own.
  bool begun_ = false;
  std::int64_t turn_id_ = 0, last_turn_id_at_start_ = 0, reservoir_id_ = 0, note_id_ = 0, life_id_ = 0;
  bool notes_begun_ = false;  // an empty history has no last id to begin behind
  std::map<StationId, ReservoirDay> reservoirs_;
  std::map<StationId, bool> out_of_service_;
  std::vector<WarningView> warnings_;
  std::map<StationId, FleetRow> told_;
  std::int64_t revision_ = 0;
  std::vector<std::string> sites_;

  mutable std::mutex mutex_;  // all below
  std::condition_variable changed_;
  bool nudged_ = true, acted_ = true, stopping_ = false;
  bool complete_ = false;
  Strips strips_;
  std::shared_ptr<const FleetNow> now_;
};

// Members "head", "feed", "columns" as the API has them.
void put(JsonText& json, const Head& head);
void put_feed(JsonText& json, const GatewayNow& gateway);
void put_columns(JsonText& json, const FleetNow& now, const std::vector<std::size_t>& places);
void put_strip(JsonText& json, const std::vector<StripSlots>& lines);
void put_shape(JsonText& json, const Fleet::StripShape& shape);
[[nodiscard]] std::vector<std::size_t> all_places(const FleetNow& now);

}  // namespace driftline::web
