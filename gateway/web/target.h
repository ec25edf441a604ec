// The target of a request: path and query, decoded and bounded; and the parameters of a query as values.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "gateway/web/problem.h"
#include "rules/records/identity.h"
#include "rules/records/time.h"

namespace driftline::web {

using Query = std::map<std::string, std::string>;

struct Target {
  std::vector<std::string> path;  // "/api/v1/fleet" -> api, v1, fleet; a trailing slash adds nothing
  Query query;
  bool operator==(const Target&) const = default;
};

// RFC 3986: "/", then levels; %xx is decoded once, level by level. Refused: what does not begin with "/", empty levels, "." and
// "..", controls, a name that stands twice, text that is not UTF-8, more than limits.h allows. In a query + is a space.
[[nodiscard]] Or<Target> parse_target(std::string_view text);

// Of one parameter: its value, `unless` where it is absent, or a problem that names it.
[[nodiscard]] Or<std::int64_t> whole_number(const Query& query, const std::string& name, std::int64_t least, std::int64_t most,
                                            std::int64_t unless);
[[nodiscard]] Or<std::optional<Time>> moment(const Query& query, const std::string& name);  // ms since 1970, years 1970 to 9999
[[nodiscard]] Or<std::string> one_of(const Query& query, const std::string& name, const std::vector<std::string_view>& words,
                                     std::string_view unless);
// Parameters that nobody reads are a mistake of the caller, most likely of spelling.
[[nodiscard]] Or<void> only(const Query& query, const std::vector<std::string_view>& names);

// 1 to 64 of A-Z a-z 0-9 . _ -
[[nodiscard]] bool is_level_name(std::string_view text);
[[nodiscard]] std::optional<StationId> station_named(std::string_view site_slash_station);
[[nodiscard]] bool is_utf8_text(std::string_view text);  // and without controls but tab and line end

}  // namespace driftline::web
