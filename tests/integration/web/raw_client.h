// A client that says exactly the bytes it is told, and reads what comes: for requests that no library would make.
#pragma once

#include <chrono>
#include <map>
#include <optional>
#include <string>

namespace driftline::testing {

struct RawAnswer {
  int status = 0;
  std::map<std::string, std::string> headers;  // names in lower case
  std::string body;
};

class RawClient {
 public:
  explicit RawClient(int port);
  ~RawClient();
  RawClient(const RawClient&) = delete;
  RawClient& operator=(const RawClient&) = delete;

  bool send(const std::string& bytes);
  // One answer, its body by Content-Length; empty: the other side closed, or nothing came in time.
  [[nodiscard]] std::optional<RawAnswer> answer(std::chrono::seconds within = std::chrono::seconds{20}, bool head_only = false);
  // What has come once `text` is among it; all that came if it does not in time.
  [[nodiscard]] std::string until(const std::string& text, std::chrono::seconds within = std::chrono::seconds{20});
  // The other side has closed.
  [[nodiscard]] bool closed(std::chrono::seconds within = std::chrono::seconds{20});

 private:
  [[nodiscard]] bool more(std::chrono::steady_clock::time_point until);
  int socket_ = -1;
  std::string come_;
  bool ended_ = false;
};

// "GET /path HTTP/1.1" with a host and what else is given, each line ended.
[[nodiscard]] std::string request_text(const std::string& method, const std::string& path, const std::string& headers = {}, const std::string& body = {});
// A connection of its own.
[[nodiscard]] RawAnswer ask(int port, const std::string& text, bool head_only = false);

}  // namespace driftline::testing
