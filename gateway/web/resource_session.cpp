#include <algorithm>

#include "gateway/web/body.h"
#include "gateway/web/events.h"
#include "gateway/web/json_text.h"
#include "gateway/web/limits.h"
#include "gateway/web/passwords.h"
#include "gateway/web/resources.h"

namespace driftline::web {
namespace {

constexpr std::string_view role_names[] = {"viewer", "responder", "engineer"};

Answer session_answer(House& house, const std::string& user, Role role, const std::string& token) {
  const bool open = is_open(*house.settings());
  const bool in = open || !user.empty();
  JsonText json;
  json.open('{').put("signed_in", in).put("open", open);
  user.empty() ? json.key("user").null() : json.put("user", user);
  in ? json.put("role", role_names[static_cast<int>(role)]) : json.key("role").null();
  token.empty() ? json.key("token").null() : json.put("token", token);
  json.put("now_ms", house.parts.wall()).put("version", house.parts.version).close('}');
  return json_answer(json);
}

std::string cookie(const std::string& value, bool secure, std::int64_t seconds) {
  return "driftline_session=" + value + "; Path=/; HttpOnly; SameSite=Strict; Max-Age=" + std::to_string(seconds) + (secure ? "; Secure" : "");
}

tl::unexpected<Problem> wait(int seconds) {
  return tl::unexpected(Problem{429, "too many attempts to sign in", "", "again in " + std::to_string(seconds) + " s", seconds});
}

}  // namespace

Or<Answer> session_get(House& house, const Request& request, Reader*) { return session_answer(house, request.user, request.role, request.token); }

Or<Answer> session_open(House& house, const Request& request, Reader*) {
  const auto settings = house.settings();
  if (is_open(*settings)) return problem(400, "no users are set up: nobody needs to sign in", "", "driftline user adds one");
  const auto fields = read_body(request.body, {"user", "password"});
  if (!fields) return tl::unexpected(fields.error());
  const auto name = fields->text("user", 1, 64);
  if (!name) return tl::unexpected(name.error());
  const auto password = fields->text("password", 1, password_bytes_max);
  if (!password) return tl::unexpected(password.error());
  if (!*name || !*password) return problem(400, "user or password is missing", "body", "both");
  const std::string& who = **name;
  // Whether it may be tried is asked under the lock, so that many at once do not pass together.
  const std::lock_guard guard(house.sign_in);
  if (const int seconds = house.marks.wait_s(request.address, who, house.parts.steady()); seconds > 0) return wait(seconds);
  const auto user = std::find_if(settings->users.begin(), settings->users.end(), [&](const User& u) { return u.name == who; });
  const bool known = user != settings->users.end();
  const bool fits = password_fits(known ? user->password_hash : hash_of_nobody(), **password);
  if (!known || !fits) {
    house.marks.failed(request.address, who, house.parts.steady());
    events::sign_in_refused(who, request.address);
    return problem(401, "user and password do not fit", "body", "");
  }
  house.marks.succeeded(request.address, who);
  const std::string value = house.sessions.open(*user, house.parts.steady());
  const auto session = house.sessions.find(value, house.parts.steady());
  events::signed_in(who, request.address);
  Answer answer = session_answer(house, who, user->role, session ? session->token : std::string{});
  answer.headers.emplace_back("Set-Cookie", cookie(value, request.over_tls, std::chrono::duration_cast<std::chrono::seconds>(session_for).count()));
  return answer;
}

Or<Answer> session_close(House& house, const Request& request, Reader*) {
  house.sessions.close(cookie_named(request.cookie, "driftline_session"));
  Answer answer;
  answer.status = 204;
  answer.headers.emplace_back("Set-Cookie", cookie("", request.over_tls, 0));
  return answer;
}

}  // namespace driftline::web
