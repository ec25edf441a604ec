// Messages into the journal, stamped so that time never goes back: not from message to message, not behind a
// moment that the judgement has already taken for silence, not over a restart.
//
// The judgement reads the journal behind us. Before it may say "nothing came until T" it must know that all
// messages received before T are in its hands: `mark` gives a T and a position together, and every later
// message gets a stamp at or after T. Any thread.
#pragma once

#include <cstdint>
#include <functional>
#include <mutex>
#include <string_view>

#include "gateway/journal/journal.h"
#include "rules/records/time.h"

namespace driftline {

struct Mark {
  Time now{};
  journal::Position next =
      0;  // messages before this position were received at or before `now`, all others at or after
};

class Intake {
 public:
  // `not_before`: what was judged in an earlier life.
  Intake(journal::Journal& journal, std::function<Time()> wall, Time not_before);

  // False: the message is not in the journal, and it is worth trying again. A message that the journal can
  // never take (its bounds lie far above those of the source) counts as taken; the journal has counted it as
  // refused.
  [[nodiscard]] bool take(std::string_view topic, std::string_view payload);
  [[nodiscard]] Mark mark();

 private:
  [[nodiscard]] Time stamp_locked();

  journal::Journal& journal_;
  const std::function<Time()> wall_;
  std::mutex mutex_;
  Time floor_;
};

}  // namespace driftline
