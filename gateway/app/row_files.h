// The five files that a replay writes, each in event-time order.
#pragma once

#include <array>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "gateway/app/plant.h"

namespace driftline {

class RowFiles {
 public:
  void add(const Judged& judged);
  // Empty when all was written; else why not. Each file appears whole or not at all.
  [[nodiscard]] std::optional<std::string> write(const std::filesystem::path& folder) const;

  struct Row {
    std::string key;  // sorts by event time, then by who and what, then by the order of settling
    std::string text;
  };
  // File name and rows, sorted. For tests that compare histories.
  [[nodiscard]] std::vector<std::pair<std::string, std::vector<Row>>> sorted() const;

 private:
  std::array<std::vector<Row>, 5> rows_;
};

}  // namespace driftline
