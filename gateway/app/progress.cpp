#include "gateway/app/progress.h"

#include <unistd.h>

#include <algorithm>
#include <iostream>

#include "gateway/app/clock.h"

namespace driftline {
namespace {

constexpr std::chrono::milliseconds draw_every{150};
constexpr std::size_t bar_width = 30;

}  // namespace

Progress::Progress(std::string what) : what_(std::move(what)), terminal_(isatty(STDERR_FILENO) == 1) {}

Progress::~Progress() {
  if (terminal_) std::cerr << "\r\x1b[K" << std::flush;
}

void Progress::show(std::uint64_t done, std::uint64_t total, const std::string& note) {
  if (!terminal_ || steady_now() < next_draw_) return;
  next_draw_ = steady_now() + draw_every;
  const double share = total == 0 ? 0 : std::min(1.0, static_cast<double>(done) / static_cast<double>(total));
  const auto filled = static_cast<std::size_t>(share * bar_width);
  std::cerr << '\r' << what_ << " [" << std::string(filled, '=') << std::string(bar_width - filled, ' ') << "] "
            << static_cast<int>(share * 100) << " %  " << note << "\x1b[K" << std::flush;
}

}  // namespace driftline
