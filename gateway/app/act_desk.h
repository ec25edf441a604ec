// Acts on warnings as JSON, from whoever may ask without the page: MQTT and the command line. One question, one answer.
//
//   {"request":"phone-7/1","act":"acknowledge","warning":"northyard/ps-01/line-2/slow-to-pressure","by":"anna","why":"on my way",
//    "until":"2026-03-01T18:00:00Z","raised":"2026-03-01T06:00:00.310Z"}
//
// `request`, `act`, `warning` and `by` must be there; `until` is the end of a shelf, `raised` keeps the act from a later raise of
// the warning. The answer says what became of it and who has the warning now, or what is wrong, where, and what would be right:
//
//   {"request":"phone-7/1","time":...,"answer":"done","repeated":false,"text":"...","warning":...,"state":"acknowledged",
//    "urgency":"plan","raised":...,"owner":"anna","shelved_until":null}
//   {"request":"phone-7/1","time":...,"answer":"refused","where":"/until","why":"...","remedy":"..."}
//
// Asking again under the same `request` is safe (History::act).
#pragma once

#include <functional>
#include <string>
#include <string_view>

#include "gateway/history/history.h"

namespace driftline {

inline constexpr std::size_t act_bytes_max = 8192;  // name, reason and id at their longest, every character escaped

class ActDesk {
 public:
  // The history outlives it. `acted`: something was stored; must not block.
  ActDesk(history::History& history, std::function<Time()> wall, std::function<void()> acted)
      : history_(history), wall_(std::move(wall)), acted_(std::move(acted)) {}

  // `via` as in history::Act. Any thread; waits for the disk.
  [[nodiscard]] std::string answer(std::string_view question, std::string_view via) const;

 private:
  history::History& history_;
  const std::function<Time()> wall_;
  const std::function<void()> acted_;
};

// Of the answer: for a person, and whether it was done (or was so already).
struct ActTold {
  std::string text;
  bool good = false;
};
[[nodiscard]] ActTold told_of(std::string_view answer);

// The question, whole. `until`, `raised` and `why` may be empty.
struct ActQuestion {
  std::string request, act, warning, by, why, until, raised;
};
[[nodiscard]] std::string text_of(const ActQuestion& question);

}  // namespace driftline
