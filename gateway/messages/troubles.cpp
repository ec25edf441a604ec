#include "gateway/messages/troubles.h"

#include "rules/records/time_text.h"

namespace driftline::messages {
namespace {

struct Words {
  std::string_view name, subject, back, body;
};

const Words& words_of(Trouble trouble) {
  static constexpr std::array<Words, trouble_count> all{{
      {"broker", "driftline: no connection to the broker", "driftline: connected to the broker again",
       "Nothing is heard of any station, and nothing is published. What the stations send waits at the broker, if it runs.\n"},
      {"output", "driftline: its figures do not reach the store", "driftline: its figures reach the store again",
       "Warnings and messages go on. What is to be sent waits here and is sent once the receiver is back.\n"},
      {"history", "driftline cannot write to its disk", "driftline writes to its disk again",
       "What comes in is left with the broker or waits in the journal: warnings come late, or not at all until this is mended.\n"},
      {"disk", "driftline: its disk is nearly full", "driftline: there is room on its disk again",
       "When it is full nothing more is taken from the broker, and no warning comes. Make room, or give it a larger disk.\n"},
      {"silence", "driftline: most of its stations are not heard", "driftline: its stations are heard again",
       "Nothing is known of them while they are silent. Look at the network and the broker first.\n"},
  }};
  return all.at(static_cast<std::size_t>(trouble));
}

std::string sentence(const std::string& text) { return text.empty() || text.back() == '.' ? text + "\n" : text + ".\n"; }

GatewaySays told(Trouble trouble, Time began, int times, const std::string& why) {
  const Words& words = words_of(trouble);
  std::string body = "Since " + rfc3339(began) + ": " + sentence(why);
  if (times > 1) body += "It comes and goes: " + std::to_string(times) + " times since then. You are told once, and again when it has been well for 10 minutes.\n";
  return {std::string(words.name) + "|" + rfc3339(began), std::string(words.subject), body + std::string(words.body)};
}

GatewaySays well_again(Trouble trouble, Time began, Time well_since) {
  const Words& words = words_of(trouble);
  return {std::string(words.name) + "-well|" + rfc3339(began), std::string(words.back), "It lasted from " + rfc3339(began) + " to " + rfc3339(well_since) + ".\n"};
}

}  // namespace

std::string_view name_of(Trouble trouble) { return words_of(trouble).name; }

std::chrono::seconds told_after(Trouble trouble) {
  switch (trouble) {
    case Trouble::broker: return std::chrono::seconds{120};
    case Trouble::output: return std::chrono::seconds{600};
    case Trouble::history: return std::chrono::seconds{30};
    case Trouble::disk: return std::chrono::seconds{30};
    case Trouble::silence: return std::chrono::seconds{300};
  }
  return {};
}

std::vector<GatewaySays> Troubles::look(const TroublesNow& seen, Time now) {
  std::vector<GatewaySays> all;
  for (std::size_t i = 0; i < trouble_count; ++i) {
    const auto trouble = static_cast<Trouble>(i);
    Watch& watch = all_.at(i);
    const auto& why = seen.of(trouble);
    if (why) {
      if (!watch.began) watch.began = now;
      if (watch.times == 0 || watch.well_since) ++watch.times;
      watch.well_since.reset();
      if (!watch.told && now - *watch.began >= told_after(trouble)) {
        watch.told = true;
        all.push_back(told(trouble, *watch.began, watch.times, *why));
      }
    } else if (watch.began) {
      if (!watch.well_since) watch.well_since = now;
      if (now - *watch.well_since < well_after) continue;
      if (watch.told) all.push_back(well_again(trouble, *watch.began, *watch.well_since));
      watch = {};
    }
  }
  return all;
}

std::vector<Trouble> Troubles::standing() const {
  std::vector<Trouble> all;
  for (std::size_t i = 0; i < trouble_count; ++i)
    if (all_.at(i).told) all.push_back(static_cast<Trouble>(i));
  return all;
}

GatewaySays ended(Time now, const std::string& why) {
  return {"end|" + rfc3339(now), "driftline has been ended",
          "The gateway was ended at " + rfc3339(now) + " (" + why + "). Until it is started again nothing is judged and no warning comes.\n"};
}

}  // namespace driftline::messages
