// The body of a request: one flat JSON object of texts and whole numbers.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "gateway/web/problem.h"

namespace driftline::web {

struct Field {
  std::optional<std::string> text;
  std::optional<std::int64_t> number;
};

class Fields {
 public:
  explicit Fields(std::map<std::string, Field> all) : all_(std::move(all)) {}
  // Empty where it is absent. Characters are UTF-8's, without controls but line ends.
  [[nodiscard]] Or<std::optional<std::string>> text(const std::string& name, std::size_t characters_min, std::size_t characters_max) const;
  [[nodiscard]] Or<std::optional<std::int64_t>> number(const std::string& name, std::int64_t least, std::int64_t most) const;

 private:
  std::map<std::string, Field> all_;
};

// Refused: what is no such object, a member that stands twice or is none of `names`.
[[nodiscard]] Or<Fields> read_body(const std::string& body, const std::vector<std::string_view>& names);

}  // namespace driftline::web
