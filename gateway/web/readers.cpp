#include "gateway/web/readers.h"

#include <exception>
#include <memory>
#include <utility>

#include "gateway/web/events.h"
#include "gateway/web/limits.h"

namespace driftline::web {

Readers::Readers(std::string file, int threads) : file_(std::move(file)), count_(threads) {}

Readers::~Readers() { stop(); }

void Readers::start() {
  while (threads_.size() < static_cast<std::size_t>(count_)) threads_.emplace_back([this] { run(); });
}

void Readers::stop() {
  std::deque<Task> dropped;
  {
    const std::lock_guard guard(mutex_);
    stopping_ = true;
    dropped.swap(waiting_);
  }
  changed_.notify_all();
  for (std::thread& thread : threads_) thread.join();
  threads_.clear();
}

bool Readers::ask(Task task) {
  {
    const std::lock_guard guard(mutex_);
    if (stopping_ || waiting_.size() >= waiting_requests_max) return false;
    waiting_.push_back(std::move(task));
  }
  changed_.notify_one();
  return true;
}

void Readers::run() {
  std::unique_ptr<history::Reader> reader;
  for (;;) {
    Task task;
    {
      std::unique_lock lock(mutex_);
      changed_.wait(lock, [this] { return stopping_ || !waiting_.empty(); });
      if (stopping_) return;
      task = std::move(waiting_.front());
      waiting_.pop_front();
    }
    if (!reader) {
      auto opened = history::Reader::open(file_);
      if (opened) reader = std::move(*opened);
      else events::history_unreadable(history::name_of(opened.error().cause), opened.error().text);
    }
    try {
      task(reader.get());
    } catch (const std::exception& thrown) {
      events::failed("reading", thrown.what());
      reader.reset();
    }
  }
}

}  // namespace driftline::web
