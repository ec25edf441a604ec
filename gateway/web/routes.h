// Which function answers what. One table (routes.cpp), one file of functions a resource (resource_*.cpp).
//
// To add a resource: a file resource_NAME.cpp, its functions in resources.h, a row each in the table, its path in openapi.json.
#pragma once

#include <span>
#include <string>

#include "gateway/history/reader.h"
#include "gateway/web/house.h"
#include "gateway/web/problem.h"
#include "gateway/web/request.h"

namespace driftline::web {

enum class Who : std::uint8_t {
  holder,     // of what is signed in the path: no sign-in, no session's token, under any name of the host
  anybody,    // also who has not signed in
  viewer,
  responder,
  engineer,
};
enum class On : std::uint8_t {
  network,  // at once, on the network's thread: only what is in memory and short
  reader,   // on a thread that reads the history: it has a reader, never null
};

struct Route {
  Method method;
  std::string_view pattern;  // "/api/v1/stations/{site}/{station}"; a level in braces is named in Request::named
  Who who;
  On on;
  Or<Answer> (*answer)(House& house, const Request& request, history::Reader* reader);
};

[[nodiscard]] std::span<const Route> routes();

struct Match {
  const Route* route = nullptr;  // null: no such path
  bool other_method = false;     // the path is there, but not with this method
  std::map<std::string, std::string> named;
};
[[nodiscard]] Match match(Method method, const std::vector<std::string>& path);

}  // namespace driftline::web
