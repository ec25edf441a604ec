// What must be undone, last made first undone, each by name: a name in the log is where a stop hangs.
#pragma once

#include <functional>
#include <string>
#include <utility>
#include <vector>

namespace driftline {

class CleanUps {
 public:
  using Tell = std::function<void(const std::string& name)>;
  explicit CleanUps(Tell tell) : tell_(std::move(tell)) {}
  ~CleanUps() { run(); }
  CleanUps(const CleanUps&) = delete;
  CleanUps& operator=(const CleanUps&) = delete;

  void add(std::string name, std::function<void()> undo) {
    all_.push_back({std::move(name), std::move(undo)});
  }
  void run() {
    while (!all_.empty()) {
      const auto last = std::move(all_.back());
      all_.pop_back();
      tell_(last.name);
      last.undo();
    }
  }

 private:
  struct One {
    std::string name;
    std::function<void()> undo;
  };
  Tell tell_;
  std::vector<One> all_;
};

}  // namespace driftline
