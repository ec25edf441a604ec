#include "gateway/metrics/secret.h"

#include <cstdlib>
#include <fstream>

namespace driftline::metrics {

SecretOutcome read_secret(const std::optional<std::string>& file, const std::optional<std::string>& env) {
  if (file) {
    std::ifstream stream(*file);
    std::string line;
    if (!stream || !std::getline(stream, line)) return {std::nullopt, "no secret can be read from the file " + *file};
    while (!line.empty() && line.back() == '\r') line.pop_back();
    return {line, std::nullopt};
  }
  if (env) {
    const char* value = std::getenv(env->c_str());
    if (value == nullptr) return {std::nullopt, "the environment variable " + *env + " is not set"};
    return {std::string(value), std::nullopt};
  }
  return {};
}

}  // namespace driftline::metrics
