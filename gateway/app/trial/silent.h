// Silent mode: the thresholds of a proposal judged beside those in force, while the gateway runs. What they would have said is
// kept, and nobody is called. When the days are over, what differs is told by itself.
//
// The second judgement follows what the rules were fed (gateway/history/fed_tape.h): it begins with all that is kept of the
// station, so that it knows what the first one knows, and goes on with what comes, some minutes behind. It has a thread of its own
// and takes nothing from the first one but processor time: about 10 microseconds a half-cycle and proposal, and half a second for
// each station when it begins (limits below). A station is judged alone: what its site's stations have in common changes the
// weights of causes, and nothing that is compared.
//
// One file a proposal, DATA/silent/NAME: state of each station, how far it has come, and what it said since. It is written whole or
// not at all; after a crash what came since is judged again from what is kept, and comes to the same.
#pragma once

#include <atomic>
#include <chrono>
#include <condition_variable>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include "gateway/history/batch.h"
#include "rules/judgement/station_rules.h"

namespace driftline::trial {

inline constexpr std::size_t silent_stations_most = 2'000;        // over all proposals, about 6 kB each: a year's tape is read once for each
inline constexpr std::chrono::seconds silent_step_every{30};
inline constexpr std::chrono::milliseconds silent_step_most{2'000};  // of work at a time, so that beginning with many stations leaves room
inline constexpr std::chrono::minutes silent_behind{5};           // what a station was fed is stored within a minute or two
inline constexpr std::size_t silent_changes_most = 10'000;        // of one station; later ones are not kept

class SilentJudge {
 public:
  using ContextOf = std::function<rules::StationContext(const StationId&)>;
  using Noted = std::function<void(const std::vector<history::RolloutRow>&)>;  // for the history's log
  // `in_force` and `noted` are called on this thread and outlive it.
  SilentJudge(std::string config_folder, std::string data_folder, ContextOf in_force, Noted noted);
  ~SilentJudge();
  SilentJudge(const SilentJudge&) = delete;
  SilentJudge& operator=(const SilentJudge&) = delete;

  void start();
  void stop();    // what was judged is written; idempotent
  void reload();  // thresholds in force or stations have changed

  // One round, of about `most`; true: there is more to do at once. Called by the thread, or by a test instead of it.
  bool step(Time now, std::chrono::milliseconds most);

 private:
  struct Live;   // one station of one proposal
  struct Beside; // one proposal
  void run();
  void find_proposals();
  [[nodiscard]] rules::StationContext context_with(const Beside& beside, const StationId& id) const;
  bool bring_forward(Beside& beside, std::chrono::nanoseconds until);
  void tell_when_over(Beside& beside, Time now);
  void keep();

  const std::string config_folder_, data_folder_;
  const ContextOf in_force_;
  const Noted noted_;
  std::map<std::string, std::unique_ptr<Beside>> beside_;  // of this thread
  std::atomic<bool> stale_{true};                          // configuration or proposals may have changed
  std::mutex mutex_;
  std::condition_variable wake_;
  bool ending_ = false;
  std::thread thread_;
};

}  // namespace driftline::trial
