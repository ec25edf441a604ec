// Who is signed in, and how often somebody may try. Sessions are kept in the history by hashes, so that a restart signs nobody
// out; attempts are in memory. Any thread; times are a steady clock's.
#pragma once

#include <chrono>
#include <cstdint>
#include <map>
#include <mutex>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "gateway/history/batch.h"
#include "gateway/web/settings.h"

namespace driftline::web {

using Steady = std::chrono::nanoseconds;

struct Session {
  std::string user;
  std::string password;       // hash of the password's hash: it ends when the password, or the user, is no more
  std::string token;          // what unsafe requests carry in a header
  Steady began{};
  Steady used{};
};

[[nodiscard]] std::string random_token();  // 128 bits as hex
[[nodiscard]] std::string hash_of(const std::string& text);  // for what is random or a hash already
[[nodiscard]] bool same_text(const std::string& a, const std::string& b);  // takes as long whatever differs

class Sessions {
 public:
  // The cookie's value. Over the bound the one that was idle longest ends.
  [[nodiscard]] std::string open(const User& user, Steady now);
  [[nodiscard]] std::optional<Session> find(const std::string& cookie_value, Steady now);
  void close(const std::string& cookie_value);

  // For the history, which knows the clock and not when this program started.
  struct Changes {
    std::vector<history::SessionRow> kept;
    std::vector<std::string> ended;  // hashes
    [[nodiscard]] bool empty() const { return kept.empty() && ended.empty(); }
  };
  // What is to be kept since the last call: new ones at once, used ones each session_kept_every.
  [[nodiscard]] Changes take_changes(Steady now, Time wall);
  void put_back(const Changes& changes);  // they could not be stored
  void begin_with(const std::vector<history::SessionRow>& rows, Steady now, Time wall);

 private:
  struct Kept : Session {
    Steady stored{};      // `used` as the history has it
    bool is_new = true;
  };
  using All = std::map<std::string, Kept>;  // by the hash of the cookie's value: a copy of the memory signs nobody in
  All::iterator end(All::iterator at);
  std::mutex mutex_;
  All all_;
  std::set<std::string> ended_;
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
