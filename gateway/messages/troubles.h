// What can go wrong with the gateway itself, so that "no message" means "no trouble": when people are told, and in which words.
//
// A trouble is told once it has been there for some time, told again when it is well, and in between it may come and go as it
// likes: it is well only after it has stayed away for long enough. Pure: time comes in, nothing is read.
#pragma once

#include <array>
#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "gateway/messages/gateway_says.h"
#include "rules/records/time.h"

namespace driftline::messages {

enum class Trouble : std::uint8_t {
  broker,       // no connection: nothing is heard, nothing is published
  output,       // the time-series store, or another receiver
  history,      // what is judged cannot be stored, or what comes cannot be kept
  disk,         // little room is left
  silence,      // half of the stations, or more, are not heard
};
inline constexpr std::size_t trouble_count = 5;
[[nodiscard]] std::string_view name_of(Trouble trouble);  // "broker", ...

// How it is now; empty: well. `why` is a sentence for a person, without a secret.
struct TroublesNow {
  std::array<std::optional<std::string>, trouble_count> why;
  [[nodiscard]] const std::optional<std::string>& of(Trouble trouble) const { return why.at(static_cast<std::size_t>(trouble)); }
  [[nodiscard]] std::optional<std::string>& of(Trouble trouble) { return why.at(static_cast<std::size_t>(trouble)); }
};

class Troubles {
 public:
  // What is to be told now, each once. Call it every few seconds.
  [[nodiscard]] std::vector<GatewaySays> look(const TroublesNow& seen, Time now);
  // Told, and not well again.
  [[nodiscard]] std::vector<Trouble> standing() const;

 private:
  struct Watch {
    std::optional<Time> began;  // empty: well for long
    std::optional<Time> well_since;
    bool told = false;
    int times = 0;              // it came since it began
  };
  std::array<Watch, trouble_count> all_{};
};

// As long as a restart of a broker or a server takes, so that it does not wake anybody; a disk does not empty itself.
[[nodiscard]] std::chrono::seconds told_after(Trouble trouble);
inline constexpr std::chrono::seconds well_after{600};  // ISA-18.2 speaks of off-delays of minutes for what chatters (MEMORY)

[[nodiscard]] GatewaySays ended(Time now, const std::string& why);

}  // namespace driftline::messages
