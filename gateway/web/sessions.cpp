#include "gateway/web/sessions.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include <sodium.h>

#include "gateway/web/limits.h"
#include "rules/records/require.h"

namespace driftline::web {
namespace {

std::string hex_of(const unsigned char* bytes, std::size_t count) {
  std::string text(count * 2 + 1, '\0');
  sodium_bin2hex(text.data(), text.size(), bytes, count);
  text.pop_back();
  return text;
}

bool over(const Session& session, Steady now) { return now - session.used > session_idle || now - session.began > session_for; }

Steady ago(Time then, Time wall) { return std::max<Steady>(Steady{0}, wall - then); }

}  // namespace

std::string hash_of(const std::string& text) {
  std::array<unsigned char, crypto_generichash_BYTES> hash{};
  crypto_generichash(hash.data(), hash.size(), reinterpret_cast<const unsigned char*>(text.data()), text.size(), nullptr, 0);
  return hex_of(hash.data(), hash.size());
}

std::string random_token() {
  require(sodium_init() >= 0, "there is a source of random numbers");
  std::array<unsigned char, 16> bytes{};
  randombytes_buf(bytes.data(), bytes.size());
  return hex_of(bytes.data(), bytes.size());
}

bool same_text(const std::string& a, const std::string& b) {
  return a.size() == b.size() && sodium_memcmp(a.data(), b.data(), a.size()) == 0;
}

Sessions::All::iterator Sessions::end(All::iterator at) {
  ended_.insert(at->first);
  return all_.erase(at);
}

std::string Sessions::open(const User& user, Steady now) {
  const std::string value = random_token() + random_token();
  const std::lock_guard guard(mutex_);
  if (all_.size() >= sessions_max)
    end(std::min_element(all_.begin(), all_.end(), [](const auto& a, const auto& b) { return a.second.used < b.second.used; }));
  all_[hash_of(value)] = Kept{Session{user.name, hash_of(user.password_hash), random_token(), now, now}, now, true};
  return value;
}

std::optional<Session> Sessions::find(const std::string& cookie_value, Steady now) {
  if (cookie_value.size() != 64) return std::nullopt;
  const std::lock_guard guard(mutex_);
  const auto found = all_.find(hash_of(cookie_value));
  if (found == all_.end()) return std::nullopt;
  if (over(found->second, now)) {
    end(found);
    return std::nullopt;
  }
  found->second.used = now;
  return found->second;
}

void Sessions::close(const std::string& cookie_value) {
  const std::lock_guard guard(mutex_);
  if (const auto found = all_.find(hash_of(cookie_value)); found != all_.end()) end(found);
}

Sessions::Changes Sessions::take_changes(Steady now, Time wall) {
  const std::lock_guard guard(mutex_);
  Changes changes;
  for (auto at = all_.begin(); at != all_.end();) {
    Kept& one = at->second;
    if (over(one, now)) {
      at = end(at);
      continue;
    }
    if (std::exchange(one.is_new, false) || one.used - one.stored > session_kept_every) {
      one.stored = one.used;
      const auto told = [&](Steady then) { return wall - std::chrono::duration_cast<Time::duration>(now - then); };
      changes.kept.push_back({at->first, one.user, one.password, one.token, told(one.began), told(one.used)});
    }
    ++at;
  }
  changes.ended.assign(ended_.begin(), ended_.end());
  ended_.clear();
  return changes;
}

void Sessions::put_back(const Changes& changes) {
  const std::lock_guard guard(mutex_);
  for (const auto& row : changes.kept)
    if (const auto found = all_.find(row.hash); found != all_.end()) found->second.is_new = true;
  ended_.insert(changes.ended.begin(), changes.ended.end());
}

// A clock that was set back makes them no older than they were.
void Sessions::begin_with(const std::vector<history::SessionRow>& rows, Steady now, Time wall) {
  const std::lock_guard guard(mutex_);
  for (const auto& row : rows) {
    const Session session{row.user, row.password, row.token, now - ago(row.began, wall), now - ago(row.used, wall)};
    if (over(session, now) || all_.size() >= sessions_max) ended_.insert(row.hash);
    else all_[row.hash] = Kept{session, session.used, false};
  }
}

int SignInMarks::wait_of(const Mark& mark, Steady now) {
  if (mark.failures < sign_in_failures_free) return 0;
  const int doublings = std::min(mark.failures - sign_in_failures_free, 20);
  const auto wait = std::min<Steady>(sign_in_wait_first * (std::int64_t{1} << doublings), sign_in_wait_max);
  const auto left = mark.last + wait - now;
  return left <= Steady{0} ? 0 : static_cast<int>(std::chrono::ceil<std::chrono::seconds>(left).count());
}

int SignInMarks::wait_s(const std::string& address, const std::string& user, Steady now) {
  const std::lock_guard guard(mutex_);
  int wait = 0;
  for (const std::string& key : {"a " + address, "u " + user})
    if (const auto found = marks_.find(key); found != marks_.end()) wait = std::max(wait, wait_of(found->second, now));
  return wait;
}

void SignInMarks::forget_old(Steady now) {
  std::erase_if(marks_, [&](const auto& entry) { return now - entry.second.last > 2 * sign_in_wait_max; });
  while (marks_.size() >= sign_in_marks_max)
    marks_.erase(std::min_element(marks_.begin(), marks_.end(), [](const auto& a, const auto& b) { return a.second.last < b.second.last; }));
}

void SignInMarks::failed(const std::string& address, const std::string& user, Steady now) {
  const std::lock_guard guard(mutex_);
  if (marks_.size() + 2 > sign_in_marks_max) forget_old(now);
  for (const std::string& key : {"a " + address, "u " + user}) {
    Mark& mark = marks_[key];
    ++mark.failures;
    mark.last = now;
  }
}

void SignInMarks::succeeded(const std::string& address, const std::string& user) {
  const std::lock_guard guard(mutex_);
  marks_.erase("a " + address);
  marks_.erase("u " + user);
}

std::string cookie_named(const std::string& header, const std::string& name) {
  std::size_t at = 0;
  while (at < header.size()) {
    const std::size_t end = std::min(header.find(';', at), header.size());
    std::string_view one(header.data() + at, end - at);
    while (!one.empty() && one.front() == ' ') one.remove_prefix(1);
    if (one.size() > name.size() && one.substr(0, name.size()) == name && one[name.size()] == '=') return std::string(one.substr(name.size() + 1));
    at = end + 1;
  }
  return {};
}

}  // namespace driftline::web
