#include "gateway/web/resources.h"

#include <algorithm>

#include "gateway/metrics/gzip.h"
#include "gateway/web/json_text.h"
#include "gateway/web/limits.h"
#include "gateway/web/target.h"
#include "rules/records/time_text.h"

namespace driftline::web {
namespace {

constexpr std::size_t packed_from_bytes = 2'000;  // less fits into two packets anyway

}  // namespace

Answer json_answer(JsonText& json, int status) {
  Answer answer;
  answer.status = status;
  answer.body = std::make_shared<const std::string>(json.take());
  return answer;
}

bool takes_gzip(const std::string& accepted) {
  const auto at = accepted.find("gzip");
  return at != std::string::npos && accepted.find("gzip;q=0", at) != at;
}

void pack(Answer& answer, const std::string& accept_encoding) {
  if (!answer.body || answer.gzipped || answer.body->size() < packed_from_bytes || !takes_gzip(accept_encoding)) return;
  std::string packed = metrics::gzipped(*answer.body);
  if (packed.empty()) return;
  answer.body = std::make_shared<const std::string>(std::move(packed));
  answer.gzipped = true;
}

Answer csv_answer(std::string text, const std::string& file_name) {
  Answer answer;
  answer.type = "text/csv; charset=utf-8";
  answer.body = std::make_shared<const std::string>(std::move(text));
  answer.headers.emplace_back("Content-Disposition", "attachment; filename=\"" + file_name + "\"");
  return answer;
}

tl::unexpected<Problem> of_trouble(const history::Trouble& trouble) {
  return tl::unexpected(Problem{503, "the history cannot be read just now: " + trouble.text, "", "again in some seconds", 5});
}

Or<StationId> station_of(House& house, const Request& request) {
  const StationId id{request.named.at("site"), request.named.at("station")};
  if (is_level_name(id.site) && is_level_name(id.station) && house.fleet.knows(id)) return id;
  return problem(404, "no station " + id.site + "/" + id.station + " was ever heard or configured", "path", "one of GET /api/v1/fleet");
}

Or<SpanAsked> span_of(House& house, const Request& request, int days_before) {
  const auto from = moment(request.query, "from_ms");
  if (!from) return tl::unexpected(from.error());
  const auto to = moment(request.query, "to_ms");
  if (!to) return tl::unexpected(to.error());
  SpanAsked span;
  // A station's clock may go before ours.
  span.to = to->value_or(house.parts.wall() + std::chrono::hours{24});
  span.from = from->value_or(span.to - std::chrono::hours{24 * (days_before + 1)});
  if (span.from >= span.to) return problem(400, "it is not before to_ms", "query from_ms", "an earlier moment");
  return span;
}

Or<std::string> acting(House& house, const Request& request, const std::optional<std::string>& by) {
  if (!is_open(*house.settings())) return request.user;
  if (!by || by->empty()) return problem(400, "it is not said who acts", "body /by", "a name of 1 to 80 characters");
  return *by;
}

void append_csv(std::string& out, std::string_view field, bool last) {
  // A leading = + - @ makes a formula in a spreadsheet; numbers are written by the other function.
  const bool formula = !field.empty() && (field[0] == '=' || field[0] == '+' || field[0] == '-' || field[0] == '@' || field[0] == '\t');
  if (!formula && field.find_first_of(",\"\r\n") == std::string_view::npos) {
    out += field;
  } else {
    out += '"';
    if (formula) out += '\'';
    for (const char c : field) (c == '"' ? out += '"' : out) += c;
    out += '"';
  }
  out += last ? "\r\n" : ",";
}

void append_csv(std::string& out, const std::optional<double>& value, int decimals, bool last) {
  if (value) append_rounded(out, *value, decimals);
  out += last ? "\r\n" : ",";
}

void append_csv(std::string& out, const std::optional<Time>& time, bool last) {
  if (time) out += rfc3339(*time);
  out += last ? "\r\n" : ",";
}

}  // namespace driftline::web
