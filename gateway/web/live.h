// The live feed: events as they come, to everybody who has a stream open. All of it on the network's thread, but for what says
// otherwise. An event's bytes are made once and shared by all who get them.
#pragma once

#include <chrono>
#include <cstdint>
#include <deque>
#include <functional>
#include <list>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "gateway/web/fleet.h"
#include "gateway/web/parts.h"
#include "gateway/web/request.h"

namespace driftline::web {

struct Wish {
  bool fleet = true;
  std::optional<StationId> station;
  std::string last_event_id;
};

// The turn in progress, from samples as they come: it needs no 30 s of patience, and is never stored.
class TurnWatch {
 public:
  void take(const Sample& sample);
  void take(const Seen& seen);
  struct Now {
    int line = 1;
    Time started{};
    Time newest{};
    bool venting = false;
    std::optional<double> bar;
  };
  [[nodiscard]] std::optional<Now> now() const;

 private:
  std::optional<bool> pump_;
  std::optional<Time> run_since_, stopped_;
  std::optional<int> line_;
  std::optional<Sample> newest_;
};
void put_turn_now(JsonText& json, const TurnWatch::Now& turn, const std::optional<Strips::LineNow>& line);

class Live {
 public:
  using Post = std::function<void(std::function<void()>)>;   // onto the network's thread
  using Aside = std::function<bool(std::function<void()>)>;  // onto one that may read files; false: it is not done
  Live(const WebParts& parts, Fleet& fleet, Post post, Aside aside);

  void join(std::shared_ptr<Sink> sink, const Wish& wish);
  void news(const FleetNews& news);
  void tick();      // each pressure_every
  void end_all();

  void seen(std::vector<Seen> seen);                        // any thread; never blocks
  [[nodiscard]] std::set<StationId> watched() const;         // any thread
  [[nodiscard]] bool may_watch(const StationId& station) const;  // any thread
  // Of a station that somebody watches.
  [[nodiscard]] std::optional<TurnWatch::Now> turn_now(const StationId& station) const;  // any thread

 private:
  struct Viewer {
    std::shared_ptr<Sink> sink;
    Wish wish;
    std::chrono::nanoseconds began{}, last_comment{}, last_pulse{};
  };
  struct Event {
    std::int64_t id = 0;
    bool fleet = false;                 // for those who want the list
    std::optional<StationId> station;   // for those who watch it
    Bytes bytes;
  };
  struct Watched {
    std::deque<Sample> samples;
    std::size_t untold = 0;             // newest ones that no stream has got
    std::optional<Time> heard;          // since somebody watches
    TurnWatch turn;
    std::optional<Seen> last_seen;      // without its samples
    bool told_first = false;            // the first answer may hold more
    bool filling = false;               // what came before is being read: nothing is told until then, so that it comes in order
    bool turn_told = false;             // as going on
    std::chrono::nanoseconds turn_told_at{};
  };

  void take_seen();
  void fill(const StationId& station);
  void filled(const StationId& station, const std::vector<Sample>& before);
  void watch_what_is_wanted();
  void tell(Event event, std::string_view name, const std::string& json);
  void send(Viewer& viewer, const Bytes& bytes);
  [[nodiscard]] bool resume(Viewer& viewer);
  [[nodiscard]] std::string hello(bool resumed) const;
  [[nodiscard]] std::string pulse() const;
  void tell_pressure(const StationId& station, Watched& watched);
  void tell_turn(const StationId& station, Watched& watched);
  [[nodiscard]] static std::string pressure_json(const StationId& station, const Watched& watched, std::size_t newest, std::size_t most);

  const WebParts& parts_;
  Fleet& fleet_;
  const Post post_;
  const Aside aside_;
  std::list<Viewer> viewers_;
  std::deque<Event> kept_;
  std::size_t kept_bytes_ = 0;
  std::string life_;                    // of this run of the gateway: ids of another one cannot be resumed
  std::int64_t next_id_ = 1;
  Bytes pulse_bytes_;
  int filling_ = 0;

  mutable std::mutex mutex_;            // all below
  std::map<StationId, Watched> watched_;
  std::vector<Seen> arrived_;
  std::size_t arrived_samples_ = 0;
  bool posted_ = false;
};

[[nodiscard]] Bytes event_bytes(std::string_view name, const std::string& id, const std::string& json);

}  // namespace driftline::web
