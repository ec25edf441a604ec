// Items on several threads.
#pragma once

#include <algorithm>
#include <atomic>
#include <cstddef>
#include <functional>
#include <thread>
#include <vector>

namespace driftline::trial {

// Calls work(i) for every i below `count`. What throws ends the process: none is expected.
inline void in_parallel(std::size_t count, int threads, const std::function<void(std::size_t)>& work) {
  std::atomic<std::size_t> next{0};
  const auto run = [&] {
    for (std::size_t i = next.fetch_add(1); i < count; i = next.fetch_add(1)) work(i);
  };
  std::vector<std::jthread> others;
  for (std::size_t i = 1; i < std::min<std::size_t>(static_cast<std::size_t>(std::max(threads, 1)), count); ++i) others.emplace_back(run);
  run();
}

}  // namespace driftline::trial
