// The verbs of the program. Each takes the arguments after its name and gives the exit code:
// 0 done, 1 it failed (said on standard error), 2 the command line or the configuration cannot be used.
#pragma once

#include <span>
#include <string>
#include <string_view>

namespace driftline {

using Arguments = std::span<const std::string>;

inline constexpr int exit_done = 0;
inline constexpr int exit_failed = 1;
inline constexpr int exit_unusable = 2;

struct Verb {
  std::string_view name;
  std::string_view what;  // one line of the overview
  int (*run)(Arguments);
};

[[nodiscard]] std::span<const Verb> verbs();

[[nodiscard]] int verb_run(Arguments arguments);
[[nodiscard]] int verb_replay(Arguments arguments);
[[nodiscard]] int verb_check(Arguments arguments);
[[nodiscard]] int verb_expect(Arguments arguments);
[[nodiscard]] int verb_trial(Arguments arguments);
[[nodiscard]] int verb_thresholds(Arguments arguments);
[[nodiscard]] int verb_simulate(Arguments arguments);
[[nodiscard]] int verb_user(Arguments arguments);
[[nodiscard]] int verb_warnings(Arguments arguments);
[[nodiscard]] int verb_acknowledge(Arguments arguments);

}  // namespace driftline
