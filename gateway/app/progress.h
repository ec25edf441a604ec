// A bar on standard error while long work goes on, if that is a terminal; otherwise nothing.
#pragma once

#include <chrono>
#include <cstdint>
#include <string>

namespace driftline {

class Progress {
 public:
  explicit Progress(std::string what);
  ~Progress();  // clears the line
  Progress(const Progress&) = delete;
  Progress& operator=(const Progress&) = delete;

  // `note` follows the bar: "1,204,331 messages". Draws at most a few times a second.
  void show(std::uint64_t done, std::uint64_t total, const std::string& note);

 private:
  const std::string what_;
  const bool terminal_;
  std::chrono::nanoseconds next_draw_{};
};

}  // namespace driftline
