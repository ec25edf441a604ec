// The Trial bench: thresholds tried on a station's history, and proposals of them. What is asked and told is the gateway's own
// JSON (gateway/app/trial/bench.h, desk.h); here it is only handed on.
#include <memory>
#include <utility>

#include "gateway/web/resources.h"
#include "gateway/web/target.h"

namespace driftline::web {
namespace {

constexpr auto no_bench = "this gateway has no Trial bench";

Answer handed_on(std::string json) {
  Answer answer;
  answer.body = std::make_shared<const std::string>(std::move(json));
  return answer;
}

Or<Answer> of(tl::expected<std::string, std::string> told) {
  if (!told) return problem(400, told.error());
  return handed_on(std::move(*told));
}

}  // namespace

Or<Answer> station_trial(House& house, const Request& request, Reader*) {
  if (const auto known = only(request.query, {}); !known) return tl::unexpected(known.error());
  const auto station = station_of(house, request);
  if (!station) return tl::unexpected(station.error());
  if (!house.parts.bench.try_out) return problem(404, no_bench);
  return of(house.parts.bench.try_out(*station, request.body));
}

Or<Answer> proposals_list(House& house, const Request& request, Reader*) {
  if (const auto known = only(request.query, {}); !known) return tl::unexpected(known.error());
  if (!house.parts.bench.proposals) return problem(404, no_bench);
  return of(house.parts.bench.proposals());
}

Or<Answer> proposal_new(House& house, const Request& request, Reader*) {
  if (!house.parts.bench.propose) return problem(404, no_bench);
  return of(house.parts.bench.propose(request.user, request.body));
}

Or<Answer> proposal_act(House& house, const Request& request, Reader*) {
  if (!house.parts.bench.act) return problem(404, no_bench);
  return of(house.parts.bench.act(request.user, request.named.at("name"), request.body));
}

}  // namespace driftline::web
