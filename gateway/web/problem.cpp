#include "gateway/web/problem.h"

#include "gateway/web/json_text.h"

namespace driftline::web {
namespace {

const char* title_of(int status) {
  switch (status) {
    case 400: return "not usable";
    case 401: return "not signed in";
    case 403: return "not allowed";
    case 404: return "not there";
    case 405: return "no such method here";
    case 408: return "too slow";
    case 409: return "otherwise by now";
    case 413: return "too large";
    case 414: return "target too long";
    case 415: return "not JSON";
    case 429: return "too many";
    case 431: return "header too large";
    case 503: return "not now";
    default: return status < 500 ? "not usable" : "failed";
  }
}

}  // namespace

std::string json_of(const Problem& problem) {
  JsonText json;
  json.open('{').put("type", "about:blank").put("title", title_of(problem.status)).put("status", problem.status);
  json.put("detail", problem.detail).put("where", problem.where).put("remedy", problem.remedy).close('}');
  return json.take();
}

}  // namespace driftline::web
