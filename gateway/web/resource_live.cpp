#include "gateway/web/resources.h"
#include "gateway/web/target.h"

namespace driftline::web {

Or<Answer> live_feed(House& house, const Request& request, Reader*) {
  if (const auto known = only(request.query, {"station", "fleet"}); !known) return tl::unexpected(known.error());
  const auto fleet = whole_number(request.query, "fleet", 0, 1, 1);
  if (!fleet) return tl::unexpected(fleet.error());
  Wish wish;
  wish.fleet = *fleet == 1;
  wish.last_event_id = request.last_event_id;
  if (const auto station = request.query.find("station"); station != request.query.end()) {
    wish.station = station_named(station->second);
    if (!wish.station) return problem(400, "\"" + station->second + "\" is no station", "query station", "site/station");
    if (!house.fleet.knows(*wish.station)) return problem(404, "no such station was ever heard or configured", "query station", "one of GET /api/v1/fleet");
    if (!house.live.may_watch(*wish.station)) return problem(503, "too many stations are watched at once", "query station", "later");
  }
  Answer answer;
  answer.stream = [&house, wish](const std::shared_ptr<Sink>& sink) { house.live.join(sink, wish); };
  return answer;
}

}  // namespace driftline::web
