#include "gateway/web/routes.h"

#include <array>

#include "gateway/web/resources.h"

namespace driftline::web {
namespace {

#define STATION "/api/v1/stations/{site}/{station}"
#define WARNING "/api/v1/warnings/{site}/{station}/{place}/{condition}"

constexpr std::array table{
    Route{Method::get, "/api/v1/session", Who::anybody, On::network, session_get},
    Route{Method::post, "/api/v1/session", Who::anybody, On::reader, session_open},
    Route{Method::del, "/api/v1/session", Who::viewer, On::network, session_close},
    Route{Method::get, "/api/v1/fleet", Who::viewer, On::reader, fleet_list},
    Route{Method::get, "/api/v1/fleet/strips", Who::viewer, On::reader, fleet_strips},
    Route{Method::get, "/api/v1/fleet/heard", Who::viewer, On::network, fleet_heard},
    Route{Method::get, STATION, Who::viewer, On::reader, station_now},
    Route{Method::get, STATION "/turns", Who::viewer, On::reader, station_turns},
    Route{Method::get, STATION "/turns/{id}", Who::viewer, On::reader, station_turn},
    Route{Method::get, STATION "/turns/{id}/curve.svg", Who::viewer, On::reader, turn_chart},
    Route{Method::get, STATION "/chart.svg", Who::viewer, On::reader, station_chart},
    Route{Method::get, STATION "/reservoir", Who::viewer, On::reader, station_reservoir},
    Route{Method::get, STATION "/forecasts", Who::viewer, On::reader, station_forecasts},
    Route{Method::get, STATION "/notes", Who::viewer, On::reader, station_notes},
    Route{Method::post, STATION "/notes", Who::responder, On::reader, station_note},
    Route{Method::get, STATION "/thresholds", Who::viewer, On::reader, station_thresholds},
    Route{Method::post, STATION "/trial", Who::engineer, On::reader, station_trial},
    Route{Method::get, "/api/v1/proposals", Who::viewer, On::reader, proposals_list},
    Route{Method::post, "/api/v1/proposals", Who::engineer, On::reader, proposal_new},
    Route{Method::post, "/api/v1/proposals/{name}/acts", Who::engineer, On::reader, proposal_act},
    Route{Method::get, "/api/v1/warnings", Who::viewer, On::reader, warnings_list},
    Route{Method::get, WARNING, Who::viewer, On::reader, warning_one},
    Route{Method::get, WARNING "/who", Who::viewer, On::reader, warning_who},
    Route{Method::get, "/api/v1/messages", Who::viewer, On::reader, messages_list},
    Route{Method::post, WARNING "/acts", Who::responder, On::reader, warning_act},
    Route{Method::get, "/api/v1/refill-round", Who::viewer, On::reader, refill_round},
    Route{Method::get, "/api/v1/gateway", Who::viewer, On::network, gateway_now},
    Route{Method::get, "/api/v1/live", Who::viewer, On::network, live_feed},
    Route{Method::get, "/confirm/{token}", Who::holder, On::reader, confirm_show},
    Route{Method::post, "/confirm/{token}", Who::holder, On::reader, confirm_press},
    Route{Method::get, "/api/v1/openapi.json", Who::anybody, On::network, api_document},
};

#undef STATION
#undef WARNING

bool fits(std::string_view pattern, const std::vector<std::string>& path, std::map<std::string, std::string>& named) {
  named.clear();
  std::size_t level = 0;
  while (!pattern.empty()) {
    pattern.remove_prefix(1);
    const std::string_view part = pattern.substr(0, pattern.find('/'));
    pattern.remove_prefix(part.size());
    if (level == path.size()) return false;
    if (part.front() == '{') named.emplace(part.substr(1, part.size() - 2), path[level]);
    else if (part != path[level]) return false;
    ++level;
  }
  return level == path.size();
}

}  // namespace

std::span<const Route> routes() { return table; }

Match match(Method method, const std::vector<std::string>& path) {
  Match match;
  for (const Route& route : table) {
    std::map<std::string, std::string> named;
    if (!fits(route.pattern, path, named)) continue;
    if (route.method != method && !(method == Method::head && route.method == Method::get)) {
      match.other_method = true;
      continue;
    }
    match.route = &route;
    match.named = std::move(named);
    return match;
  }
  return match;
}

}  // namespace driftline::web
