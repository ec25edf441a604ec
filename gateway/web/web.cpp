#include "gateway/web/web.h"

#include <algorithm>
#include <mutex>
#include <set>
#include <thread>
#include <utility>

#include "gateway/web/events.h"
#include "gateway/web/house.h"
#include "gateway/web/limits.h"
#include "gateway/web/page_files.h"
#include "gateway/web/readers.h"
#include "gateway/web/resources.h"
#include "gateway/web/routes.h"
#include "gateway/web/server.h"
#include "gateway/web/target.h"

namespace driftline::web {
namespace {

constexpr auto cookie_name = "driftline_session";

Answer problem_answer(const Problem& problem) {
  Answer answer;
  answer.status = problem.status;
  answer.type = "application/problem+json";
  answer.body = std::make_shared<const std::string>(json_of(problem));
  if (problem.retry_after_s > 0) answer.headers.emplace_back("Retry-After", std::to_string(problem.retry_after_s));
  return answer;
}

bool is_unsafe(Method method) { return method == Method::post || method == Method::del; }

// Without its port.
std::string host_name(const std::string& host) {
  if (!host.empty() && host.front() == '[') return host.substr(0, host.find(']') + 1);
  return host.substr(0, host.find(':'));
}

// A page of another name that leads to our address must not pass for ours. Behind a proxy the name is the proxy's.
bool is_our_host(const std::string& host, const WebSettings& settings) {
  const std::string name = host_name(host);
  if (name == settings.address || name == "[" + settings.address + "]" || name == "localhost" || name == "127.0.0.1" || name == "[::1]") return true;
  if (std::find(settings.hosts.begin(), settings.hosts.end(), name) != settings.hosts.end()) return true;
  // Elsewhere than on loopback people sign in, and a cookie goes only to the host that gave it.
  return !is_open(settings) && settings.hosts.empty();
}

bool is_own_origin(const Request& request) {
  if (!request.fetch_site.empty() && request.fetch_site != "same-origin" && request.fetch_site != "none") return false;
  if (request.origin.empty()) return true;
  return request.origin == "http://" + request.host || request.origin == "https://" + request.host;
}

// The table of routes answers it; all else is a file of the page.
bool is_routed(const std::vector<std::string>& path) { return !path.empty() && (path.front() == "api" || path.front() == "confirm"); }

}  // namespace

bool is_loopback(const std::string& address) { return address == "::1" || address.starts_with("127."); }

std::optional<std::string> problem_of(const WebSettings& settings) {
  if (settings.users.empty() && !is_loopback(settings.address))
    return "the page would listen on " + settings.address + " without users: set up users (driftline user), or let it listen on 127.0.0.1";
  return std::nullopt;
}

std::optional<std::string> needs_restart(const WebSettings& now, const WebSettings& wanted) {
  if (now.address != wanted.address || now.port != wanted.port || now.tls != wanted.tls || now.trusted_proxies != wanted.trusted_proxies)
    return "the page's address, port, certificate or proxies have changed: that needs a restart";
  return std::nullopt;
}

struct Web::Body {
  Body(const WebSettings& with, WebParts given)
      : parts(std::move(given)),
        settings(std::make_shared<const WebSettings>(with)),
        fleet(
            parts,
            [this](FleetNews news) {
              server->post([this, news = std::move(news)] { live.news(news); });
              keep_sessions();
            },
            [this] { return live.watched(); }),
        live(parts, fleet, [this](std::function<void()> work) { server->post(std::move(work)); },
             [this](std::function<void()> work) { return readers.ask([work = std::move(work)](history::Reader*) { work(); }); }),
        readers(parts.history->file(), reading_threads),
        house{parts, fleet, live, sessions, marks, [this] { return settings_now(); }, [this] { return server->counts().streams; }} {}

  [[nodiscard]] std::shared_ptr<const WebSettings> settings_now() const {
    const std::lock_guard guard(mutex);
    return settings;
  }

  void handle(Request request, const Respond& respond);
  [[nodiscard]] Or<void> admit(Request& request, const Route& route) const;
  [[nodiscard]] std::optional<Session> signed_in(const Request& request, const WebSettings& now) const;
  [[nodiscard]] static Answer page_file(const Request& request);
  void begin_with_sessions();
  void keep_sessions();
  void on_reader(const Route& route, std::shared_ptr<Request> request, const Respond& respond);

  WebParts parts;
  mutable std::mutex mutex;
  std::shared_ptr<const WebSettings> settings;
  mutable Sessions sessions;
  SignInMarks marks;
  Fleet fleet;
  Live live;
  Readers readers;
  House house;
  std::string open_token = random_token();  // of this run, where nobody signs in
  std::unique_ptr<Server> server;
  bool started = false;
  bool stopped = false;
};

std::optional<Session> Web::Body::signed_in(const Request& request, const WebSettings& now) const {
  const auto session = sessions.find(cookie_named(request.cookie, cookie_name), parts.steady());
  if (!session) return std::nullopt;
  // A user that was taken out, or has another password by now, is signed in no longer.
  const auto user = std::find_if(now.users.begin(), now.users.end(), [&](const User& u) { return u.name == session->user; });
  if (user == now.users.end() || hash_of(user->password_hash) != session->password) return std::nullopt;
  return session;
}

void Web::Body::begin_with_sessions() {
  auto reader = history::Reader::open(parts.history->file());
  if (!reader) return events::history_unreadable("sessions", "people sign in anew");
  const auto rows = (*reader)->sessions();
  if (!rows) return events::history_unreadable("sessions", "people sign in anew");
  sessions.begin_with(*rows, parts.steady(), parts.wall());
}

// On the fleet's thread: storing waits for the disk.
void Web::Body::keep_sessions() {
  const auto changes = sessions.take_changes(parts.steady(), parts.wall());
  if (!changes.empty() && !parts.history->keep_sessions(changes.kept, changes.ended)) sessions.put_back(changes);
}

// May it be done? Fills in who asks.
Or<void> Web::Body::admit(Request& request, const Route& route) const {
  if (route.who == Who::holder) return {};
  const auto now = settings_now();
  if (!is_our_host(request.host, *now)) return problem(403, "this host is not reached under the name \"" + request.host + "\"", "header Host", "the address of the page, or a name from hosts in the part \"web\" of gateway.json");
  std::string token = open_token;
  if (is_open(*now)) {
    request.role = Role::engineer;
  } else if (const auto session = signed_in(request, *now)) {
    const auto user = std::find_if(now->users.begin(), now->users.end(), [&](const User& u) { return u.name == session->user; });
    request.user = user->name;
    request.role = user->role;
    token = session->token;
  } else if (route.who != Who::anybody) {
    return problem(401, "nobody is signed in", "cookie", "POST /api/v1/session");
  }
  if (route.who == Who::responder && request.role < Role::responder) return problem(403, "a viewer may read only", "", "the role responder");
  if (route.who == Who::engineer && request.role < Role::engineer) return problem(403, "only an engineer may do this", "", "the role engineer");
  if (!is_unsafe(request.method)) {
    request.token = is_open(*now) || !request.user.empty() ? token : std::string{};
    return {};
  }
  if (!is_own_origin(request)) return problem(403, "it comes from another origin", "header Origin", "the page itself");
  if (route.who == Who::anybody) return {};  // signing in: there is no token yet
  if (!same_text(request.token, token)) return problem(403, "the token is not that of the session", "header X-Driftline-Token", "token of GET /api/v1/session");
  return {};
}

Answer Web::Body::page_file(const Request& request) {
  std::string name = "/";
  for (const std::string& level : request.path) name += (name == "/" ? "" : "/") + level;
  const auto files = page_files();
  const auto named = [&](std::string_view path) { return std::find_if(files.begin(), files.end(), [&](const PageFile& f) { return f.path == path; }); };
  auto file = named(name);
  // Every path of the page is drawn by its script; a name with a dot is a file that is not there.
  if (file == files.end() && (request.path.empty() || request.path.back().find('.') == std::string::npos || request.path.front() == "station")) file = named("/index.html");
  if (file == files.end()) {
    if (files.empty()) return problem_answer({404, "this program was built without its page; the API is there", "", "GET /api/v1/openapi.json", 0});
    return problem_answer({404, "there is no such file", "path", "", 0});
  }
  Answer answer;
  answer.type = file->type;
  answer.fixed = {reinterpret_cast<const char*>(file->gzip), file->gzip_size};
  answer.gzipped = true;
  answer.tag = file->tag;
  answer.lasting = file->lasting;
  return answer;
}

void Web::Body::handle(Request request, const Respond& respond) {
  auto target = parse_target(request.target);
  if (!target) return respond(problem_answer(target.error()));
  request.path = std::move(target->path);
  request.query = std::move(target->query);
  if (!is_routed(request.path)) {
    if (request.method == Method::get || request.method == Method::head) return respond(page_file(request));
    return respond(problem_answer({405, "the page's files can only be read", "method", "GET", 0}));
  }
  Match found = match(request.method, request.path);
  if (!found.route)
    return respond(problem_answer(found.other_method ? Problem{405, "the path does not know this method", "method", "see GET /api/v1/openapi.json", 0}
                                                     : Problem{404, "the API has no such path", "path", "see GET /api/v1/openapi.json", 0}));
  request.named = std::move(found.named);
  if (const auto admitted = admit(request, *found.route); !admitted) return respond(problem_answer(admitted.error()));
  if (request.method == Method::post && found.route->who != Who::holder && !request.content_type.starts_with("application/json"))
    return respond(problem_answer({415, "the body is not JSON", "header Content-Type", "application/json", 0}));
  if (found.route->on == On::reader) return on_reader(*found.route, std::make_shared<Request>(std::move(request)), respond);
  auto answer = found.route->answer(house, request, nullptr);
  respond(answer ? std::move(*answer) : problem_answer(answer.error()));
}

void Web::Body::on_reader(const Route& route, std::shared_ptr<Request> request, const Respond& respond) {
  const bool asked = readers.ask([this, &route, request, respond](history::Reader* reader) {
    if (!reader) return respond(problem_answer({503, "the history cannot be read just now", "", "again in some seconds", 5}));
    try {
      auto answer = route.answer(house, *request, reader);
      if (answer) pack(*answer, request->accept_encoding);
      respond(answer ? std::move(*answer) : problem_answer(answer.error()));
    } catch (const std::exception& thrown) {
      events::failed(request->target, thrown.what());
      respond(problem_answer({500, "the gateway has made a mistake: it is in its log", "", "", 0}));
    }
  });
  if (!asked) respond(problem_answer({503, "too many requests wait", "", "again in some seconds", 2}));
}

tl::expected<std::unique_ptr<Web>, std::string> Web::open(const WebSettings& settings, WebParts parts) {
  if (auto why = problem_of(settings)) return tl::unexpected(*why);
  auto body = std::make_unique<Body>(settings, std::move(parts));
  auto server = Server::open(settings, [whole = body.get()](Request request, Respond respond) { whole->handle(std::move(request), respond); });
  if (!server) return tl::unexpected(server.error());
  body->server = std::move(*server);
  return std::unique_ptr<Web>(new Web(std::move(body)));
}

Web::Web(std::unique_ptr<Body> body) : body_(std::move(body)) {
  body_->server->every(pressure_every, [whole = body_.get()] { whole->live.tick(); });
}

Web::~Web() { stop(); }

void Web::start() {
  if (std::exchange(body_->started, true)) return;
  // Who asks at once after a start must not read that there are no stations.
  const auto wait_for = [](auto there) {
    for (int tries = 0; tries < 100 && !there(); ++tries) std::this_thread::sleep_for(std::chrono::milliseconds{10});
  };
  wait_for([this] { return body_->parts.plant() != nullptr; });
  body_->begin_with_sessions();
  body_->readers.start();
  body_->fleet.start();
  wait_for([this] { return body_->fleet.pulse() > 1 || body_->fleet.now()->revision > 0; });
  body_->server->start();
  if (is_open(*body_->settings)) events::open_to_all(url());
  events::listening(url());
}

// Nobody asks any more, then nobody answers, then the sockets end.
void Web::stop() {
  if (std::exchange(body_->stopped, true)) return;
  body_->fleet.stop();
  body_->readers.stop();
  body_->server->stop();
  body_->live.end_all();
  body_->keep_sessions();
}

void Web::nudge() { body_->fleet.nudge(); }
void Web::seen(std::vector<Seen> seen) { body_->live.seen(std::move(seen)); }

void Web::reload(const WebSettings& settings) {
  const std::lock_guard guard(body_->mutex);
  body_->settings = std::make_shared<const WebSettings>(settings);
}

std::uint64_t Web::pulse() const { return std::min(body_->server->pulse(), body_->fleet.pulse()); }
std::uint16_t Web::port() const { return body_->server->port(); }

std::string Web::url() const {
  const auto now = body_->settings_now();
  const bool v6 = now->address.find(':') != std::string::npos;
  return std::string(now->tls ? "https://" : "http://") + (v6 ? "[" : "") + now->address + (v6 ? "]" : "") + ":" + std::to_string(port()) + "/";
}

}  // namespace driftline::web
