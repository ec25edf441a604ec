// What the metrics writer is told. Filled by configuration; nothing here is a secret: password and token are read from
// where these settings point to, at the start and again whenever the server says that we may not write.
#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>

#include "gateway/metrics/limits.h"

namespace driftline::metrics {

enum class Interface : std::uint8_t {
  write_v1,  // POST /write?db=&precision=ms, user and password where given
  write_v2,  // POST /api/v2/write?org=&bucket=&precision=ms, token
};

struct MetricsSettings {
  std::string url = "http://127.0.0.1:8086";  // http or https; a path is kept in front of ours
  Interface interface = Interface::write_v1;
  std::string database = "driftline";       // v1
  std::optional<std::string> user;          // v1
  std::optional<std::string> password_file; // v1; first line, without its line end
  std::optional<std::string> password_env;  // v1; name of an environment variable
  std::string organisation = "driftline";   // v2
  std::string bucket = "driftline";         // v2
  std::optional<std::string> token_file;    // v2; as password_file
  std::optional<std::string> token_env;     // v2
  std::optional<std::string> ca_file;       // https; empty: the system's store
  std::string gateway = "driftline";        // tag of the gateway's own counters
  int batch_lines = batch_lines_max;        // 1..batch_lines_max
  int poll_ms = 1'000;                      // how soon new rows are looked for
  int counters_s = 60;                      // how often the gateway's own counters are sent; 0: never
  int connect_limit_ms = 5'000;
  int total_limit_ms = 30'000;              // of one request
  bool operator==(const MetricsSettings&) const = default;
};

}  // namespace driftline::metrics
