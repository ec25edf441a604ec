// A request and its answer, apart from sockets.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "gateway/web/settings.h"

namespace driftline::web {

enum class Method : std::uint8_t { get, head, post, del, other };

struct Request {
  Method method = Method::get;
  std::string target;       // as sent: path and query
  std::string address;      // of the client, as far as it is believed
  bool over_tls = false;    // here, or at a trusted proxy
  std::string host, origin, content_type, cookie, token, if_none_match, accept_encoding, last_event_id, fetch_site;
  std::string body;

  // Filled by the routing.
  std::vector<std::string> path;              // decoded levels
  std::map<std::string, std::string> query;   // decoded
  std::map<std::string, std::string> named;   // levels that the route names
  std::string user;                           // who signed in; empty: open, or nobody
  Role role = Role::viewer;
};

using Bytes = std::shared_ptr<const std::string>;

// The sending end of a stream; lives on the network's thread, as all calls to it.
class Sink {
 public:
  virtual ~Sink() = default;
  virtual void send(const Bytes& bytes) = 0;  // too much unsent: it closes
  virtual void close() = 0;
  [[nodiscard]] virtual bool open() const = 0;
  [[nodiscard]] virtual std::size_t unsent() const = 0;
};

struct Answer {
  int status = 200;
  std::string type = "application/json";
  Bytes body;                      // may be shared by many answers
  std::string_view fixed;          // instead of body: bytes that live as long as the program
  bool gzipped = false;            // body is
  std::string tag;                 // ETag without its quotes; empty: none
  bool lasting = false;            // may be kept for a year
  std::vector<std::pair<std::string, std::string>> headers;
  std::function<void(std::shared_ptr<Sink>)> stream;  // event stream instead of a body
};

using Respond = std::function<void(Answer)>;  // once, from any thread
using Handle = std::function<void(Request, Respond)>;  // on the network's thread; must not block

}  // namespace driftline::web
