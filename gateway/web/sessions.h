// Who is signed in, and how often somebody may try. In memory: after a restart people sign in anew. Any thread; times are a
// steady clock's.
#pragma once

#include <chrono>
#include <cstdint>
#include <map>
#include <mutex>
#include <optional>
#include <string>

#include "gateway/web/settings.h"

namespace driftline::web {

using Steady = std::chrono::nanoseconds;

struct Session {
  std::string user;
  std::string password_hash;  // it ends when the password, or the user, is no more
  std::string token;          // what unsafe requests carry in a header
  Steady began{};
  Steady used{};
};

[[nodiscard]] std::string random_token();  // 128 bits as hex
[[nodiscard]] bool same_text(const std::string& a, const std::string& b);  // takes as long whatever differs

class Sessions {
 public:
  // The cookie's value. Over the bound the one that was idle longest ends.
  [[nodiscard]] std::string open(const User& user, Steady now);
  [[nodiscard]] std::optional<Session> find(const std::string& cookie_value, Steady now);
  void close(const std::string& cookie_value);

 private:
  std::mutex mutex_;
  std::map<std::string, Session> all_;  // by the hash of the cookie's value: a copy of the memory signs nobody in
};

// Failures of an address, and of a name, make the next attempt wait; each alone would leave a way round. A success forgives
// the name and the address.
class SignInMarks {
 public:
  // Seconds to wait; 0: go on. A wait is counted from the last failure.
  [[nodiscard]] int wait_s(const std::string& address, const std::string& user, Steady now);
  void failed(const std::string& address, const std::string& user, Steady now);
  void succeeded(const std::string& address, const std::string& user);

 private:
  struct Mark {
    int failures = 0;
    Steady last{};
  };
  [[nodiscard]] static int wait_of(const Mark& mark, Steady now);
  void forget_old(Steady now);
  std::mutex mutex_;
  std::map<std::string, Mark> marks_;
};

// Value of a cookie in a Cookie header; empty: not there.
[[nodiscard]] std::string cookie_named(const std::string& header, const std::string& name);

}  // namespace driftline::web
