// The five files that a replay writes, each in event-time order.
#pragma once

#include <array>
#include <filesystem>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "gateway/app/plant.h"

namespace driftline {

// Rows of equal event time stand by site, station, line and condition, then in the order in which they were settled, so
// that the files are the same however the input was cut.
class RowFiles {
 public:
  void add(const Judged& judged);

  // Empty when all was written; else a sentence. Each file appears whole or not at all.
  [[nodiscard]] std::optional<std::string> write(const std::filesystem::path& folder) const;

  // File names and what `write` would put into them.
  [[nodiscard]] std::vector<std::pair<std::string, std::string>> texts() const;

  struct Row {
    std::string key;
    std::string text;
  };

 private:
  std::array<std::vector<Row>, 5> rows_;
};

}  // namespace driftline
