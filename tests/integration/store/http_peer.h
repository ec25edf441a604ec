// The other end of HTTP for tests: a client for reading servers back, and a server that answers what it is told to.
#pragma once

#include <atomic>
#include <cstdint>
#include <functional>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

namespace driftline::testing {

struct HttpReply {
  int status = 0;  // 0: no connection
  std::string body;
};

// One request over one connection; reads until the server closes.
[[nodiscard]] HttpReply http_request(std::uint16_t port, const std::string& method, const std::string& target,
                                     const std::string& body = "", const std::string& headers = "");
[[nodiscard]] std::string url_escaped(const std::string& text);

struct HttpSeen {
  std::string head;  // request line and headers
  std::string body;  // unzipped
};

// Answers each request with the raw bytes that `answer` gives; closes the connection after each.
class StubServer {
 public:
  using Respond = std::function<std::string(const HttpSeen&)>;
  explicit StubServer(Respond respond);
  ~StubServer();
  StubServer(const StubServer&) = delete;
  StubServer& operator=(const StubServer&) = delete;
  [[nodiscard]] std::uint16_t port() const { return port_; }
  [[nodiscard]] std::vector<HttpSeen> seen() const;

 private:
  void serve();
  int listener_ = -1;
  std::uint16_t port_ = 0;
  Respond respond_;
  mutable std::mutex mutex_;
  std::vector<HttpSeen> seen_;
  std::atomic<bool> stopping_{false};
  std::thread thread_;
};

}  // namespace driftline::testing
