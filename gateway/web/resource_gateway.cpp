#include "gateway/web/api_document.h"
#include "gateway/web/json_text.h"
#include "gateway/web/resources.h"
#include "gateway/web/target.h"

namespace driftline::web {

Or<Answer> gateway_now(House& house, const Request& request, Reader*) {
  if (const auto known = only(request.query, {}); !known) return tl::unexpected(known.error());
  const GatewayNow now = house.parts.gateway();
  const auto fleet = house.fleet.now();
  JsonText json;
  json.open('{').put("now_ms", house.parts.wall()).put("as_of_ms", fleet->as_of).put("version", house.parts.version).put("broker", now.broker);
  json.put("behind", now.behind).put("messages", now.messages).put("samples", now.samples).put("half_cycles", now.half_cycles).put("faults", now.faults);
  json.put("stations", fleet->head.watched).put("viewers", house.viewers()).close('}');
  return json_answer(json);
}

Or<Answer> api_document(House&, const Request&, Reader*) {
  Answer answer;
  answer.fixed = api_document_text();
  return answer;
}

}  // namespace driftline::web
