#include "gateway/app/verbs.h"

#include <array>

namespace driftline {

std::span<const Verb> verbs() {
  static constexpr std::array all{
      Verb{"run", "the gateway: reads telemetry from a broker and warns, until it is told to end", verb_run},
      Verb{"replay", "judge recorded telemetry and write what was made of it into files", verb_replay},
      Verb{"check", "check a configuration folder, and say where a threshold comes from", verb_check},
      Verb{"expect", "what the turns of a line should look like, from its design", verb_expect},
      Verb{"trial", "candidate thresholds against the history or recordings, and what they cost", verb_trial},
      Verb{"warnings", "what is open and whose it is; shelve, note and the like", verb_warnings},
      Verb{"acknowledge", "take a warning, so that others need not go", verb_acknowledge},
      Verb{"user", "who may sign in at the page: adds, changes and takes out users", verb_user},
      Verb{"thresholds", "propose thresholds, put them in force, take them back; who, when and why", verb_thresholds},
      Verb{"simulate", "stations that behave like real ones, over MQTT or into a recording", verb_simulate},
  };
  return all;
}

}  // namespace driftline
