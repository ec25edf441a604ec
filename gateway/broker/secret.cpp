#include "gateway/broker/secret.h"

#include <cstdlib>
#include <fstream>

#include "gateway/broker/limits.h"

namespace driftline::broker {
namespace {

std::optional<std::string> first_line(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  std::string line;
  if (!file || !std::getline(file, line)) return std::nullopt;
  if (!line.empty() && line.back() == '\r') line.pop_back();
  return line;
}

std::optional<std::string> variable(const std::string& name) {
  const char* value = std::getenv(name.c_str());
  if (value == nullptr) return std::nullopt;
  return std::string(value);
}

std::string refuse(CredentialsOutcome& out, std::string problem) {
  out.credentials = {};
  out.problem = std::move(problem);
  return {};
}

void read_password(const BrokerSettings& settings, CredentialsOutcome& out) {
  if (settings.password_file) {
    out.credentials.password = first_line(*settings.password_file);
    if (!out.credentials.password)
      refuse(out, "password file " + *settings.password_file + " cannot be read or is empty");
  } else if (settings.password_env) {
    out.credentials.password = variable(*settings.password_env);
    if (!out.credentials.password)
      refuse(out, "environment variable " + *settings.password_env + " (password) is not set");
  }
  if (out.credentials.password && out.credentials.password->size() > password_bytes_max)
    refuse(out, "the password is longer than MQTT allows");
}

}  // namespace

CredentialsOutcome read_credentials(const BrokerSettings& settings) {
  CredentialsOutcome out;
  out.credentials.user = settings.user;
  if (settings.user_env) {
    out.credentials.user = variable(*settings.user_env);
    if (!out.credentials.user)
      refuse(out, "environment variable " + *settings.user_env + " (user) is not set");
  }
  if (!out.problem) read_password(settings, out);
  return out;
}

}  // namespace driftline::broker
