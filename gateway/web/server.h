// HTTP/1.1 over sockets: one thread for all of them, asynchronous, everything bounded (limits.h). What a request means is the
// handler's; it is called on that thread and must not block.
#pragma once

#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <string>

#include <tl/expected.hpp>

#include "gateway/web/request.h"
#include "gateway/web/settings.h"

namespace driftline::web {

struct ServerCounts {
  int connections = 0;
  int streams = 0;
};

class Server {
 public:
  struct Body;  // server.cpp

  // Binds and listens; an error is a sentence for a person.
  [[nodiscard]] static tl::expected<std::unique_ptr<Server>, std::string> open(const WebSettings& settings, Handle handle);
  Server(const Server&) = delete;
  Server& operator=(const Server&) = delete;
  ~Server();  // as stop()

  void start();
  void stop();  // closes every connection; no call of the handler afterwards

  [[nodiscard]] std::uint16_t port() const;
  [[nodiscard]] ServerCounts counts() const;  // any thread
  [[nodiscard]] std::uint64_t pulse() const;  // rises while the thread lives

  // Onto the network's thread; any thread. Nothing is run after stop().
  void post(std::function<void()> work);
  // Again and again on the network's thread; before start().
  void every(std::chrono::milliseconds spacing, std::function<void()> work);

 private:
  explicit Server(std::unique_ptr<Body> body);
  std::unique_ptr<Body> body_;
};

}  // namespace driftline::web
