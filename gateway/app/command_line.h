// What the verbs' command lines share. CLI11 stays in the .cpp files that parse.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include <CLI/CLI.hpp>

#include "gateway/app/verbs.h"

namespace driftline {

// Empty: go on. Otherwise the exit code; help or the mistake has been printed.
[[nodiscard]] inline std::optional<int> parse_command_line(CLI::App& app, Arguments arguments) {
  std::vector<std::string> reversed(arguments.rbegin(), arguments.rend());  // as CLI11 takes a vector
  try {
    app.parse(reversed);
    return std::nullopt;
  } catch (const CLI::ParseError& stop) {
    return app.exit(stop) == 0 ? exit_done : exit_unusable;
  }
}

}  // namespace driftline
