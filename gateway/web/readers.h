// A few threads that read the history, each over a connection of its own, for questions that may take some ms.
#pragma once

#include <condition_variable>
#include <deque>
#include <functional>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include "gateway/history/reader.h"

namespace driftline::web {

class Readers {
 public:
  // Null: the history cannot be read just now.
  using Task = std::function<void(history::Reader*)>;

  Readers(std::string file, int threads);
  ~Readers();  // as stop()
  Readers(const Readers&) = delete;
  Readers& operator=(const Readers&) = delete;

  void start();
  void stop();  // what waits is dropped

  // False: too many wait.
  [[nodiscard]] bool ask(Task task);

 private:
  void run();
  const std::string file_;
  const int count_;
  std::mutex mutex_;
  std::condition_variable changed_;
  std::deque<Task> waiting_;
  bool stopping_ = false;
  std::vector<std::thread> threads_;
};

}  // namespace driftline::web
