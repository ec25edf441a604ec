// What is answered when a request cannot be: RFC 9457, as application/problem+json.
#pragma once

#include <string>

#include <tl/expected.hpp>

namespace driftline::web {

struct Problem {
  int status = 400;
  std::string detail;  // what is wrong, in words
  std::string where;   // "query from_ms", "body /until_ms", "header X-Driftline-Token"
  std::string remedy;  // what would be right
  int retry_after_s = 0;  // 0: the header is left out
  bool operator==(const Problem&) const = default;
};

template <typename Value>
using Or = tl::expected<Value, Problem>;

[[nodiscard]] std::string json_of(const Problem& problem);

inline tl::unexpected<Problem> problem(int status, std::string detail, std::string where = {}, std::string remedy = {}) {
  return tl::unexpected(Problem{status, std::move(detail), std::move(where), std::move(remedy), 0});
}

}  // namespace driftline::web
