// The page and its API as one part of the gateway: it starts, stops, and is told what is new.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "gateway/web/parts.h"
#include "gateway/web/settings.h"

namespace driftline::web {

// What is wrong with them before anything is opened; empty: nothing.
[[nodiscard]] std::optional<std::string> problem_of(const WebSettings& settings);
// Empty: the change can be made while running (users, hosts, proxies are not sockets).
[[nodiscard]] std::optional<std::string> needs_restart(const WebSettings& now, const WebSettings& wanted);

class Web {
 public:
  // Listens; an error is a sentence for a person.
  [[nodiscard]] static tl::expected<std::unique_ptr<Web>, std::string> open(const WebSettings& settings, WebParts parts);
  Web(const Web&) = delete;
  Web& operator=(const Web&) = delete;
  ~Web();  // as stop()

  void start();
  void stop();
  void nudge();                        // something new is in the history; never blocks
  void seen(std::vector<Seen> seen);   // of watched stations; never blocks
  void reload(const WebSettings& settings);
  [[nodiscard]] std::uint64_t pulse() const;  // rises while all of its threads live
  [[nodiscard]] std::string url() const;      // "http://127.0.0.1:8420/"
  [[nodiscard]] std::uint16_t port() const;

 private:
  struct Body;
  explicit Web(std::unique_ptr<Body> body);
  std::unique_ptr<Body> body_;
};

}  // namespace driftline::web
