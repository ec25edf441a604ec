// What the rules of one station were fed over a stretch of time, in memory: about 4 MB and 20 MB of half-cycles a station
// and year. Played as often as one likes; a thread at a time needs nothing of another.
#pragma once

#include <algorithm>
#include <cstdint>
#include <string>
#include <vector>

#include "gateway/history/fed_pack.h"
#include "rules/records/fed_event.h"
#include "rules/records/half_cycle.h"

namespace driftline::history {

class FedTape {
 public:
  // Oldest first. `bytes` as FedPacker makes them, not deflated.
  void add_chunk(std::string bytes) { chunks_.push_back(std::move(bytes)); }
  // Ids rise.
  void add_half_cycle(std::int64_t id, HalfCycle&& half_cycle) {
    ids_.push_back(id);
    half_cycles_.push_back(std::move(half_cycle));
  }

  // Calls visit(const FedEvent&, const HalfCycle*) for each event in order; the half-cycle is given with a TurnTold and is
  // nullptr elsewhere. Turns whose half-cycle is no longer kept are passed over. False: a chunk was damaged, what of it
  // could be read was given.
  template <class Visit>
  bool play(Visit visit) const {
    bool whole = true;
    StoredFedEvent stored;
    for (const std::string& chunk : chunks_) {
      FedUnpacker unpacker(chunk);
      while (unpacker.next(stored)) {
        const HalfCycle* half_cycle = nullptr;
        if (std::holds_alternative<TurnTold>(stored.event.body)) {
          half_cycle = find(stored.half_cycle_id);
          if (half_cycle == nullptr) continue;
        }
        visit(stored.event, half_cycle);
      }
      whole = whole && !unpacker.damaged();
    }
    return whole;
  }

  [[nodiscard]] const std::vector<HalfCycle>& half_cycles() const { return half_cycles_; }
  [[nodiscard]] bool empty() const { return chunks_.empty(); }

 private:
  [[nodiscard]] const HalfCycle* find(std::int64_t id) const {
    const auto at = std::lower_bound(ids_.begin(), ids_.end(), id);
    if (at == ids_.end() || *at != id) return nullptr;
    return &half_cycles_[static_cast<std::size_t>(at - ids_.begin())];
  }

  std::vector<std::string> chunks_;
  std::vector<std::int64_t> ids_;
  std::vector<HalfCycle> half_cycles_;
};

}  // namespace driftline::history
