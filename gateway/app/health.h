// A file in the data folder that says how the gateway is, for a container's health check and for a person at
// a shell:
//   {"time":"...","alive":true,"broker":"listening","received":1,"waiting":0,"stations":1,...}
// Written every health_every, as a whole (a new file renamed over the old one). `alive` is false when a
// thread hangs or the gateway is about to give up. A broker that is away does not make the gateway unhealthy:
// restarting it would not help.
#pragma once

#include <filesystem>
#include <string>

#include "gateway/app/run.h"

namespace driftline {

struct Health {
  bool good = false;
  std::string text;  // one line for a person
};

[[nodiscard]] std::filesystem::path health_file(const std::filesystem::path& data_folder);

// False: it could not be written.
bool write_health(const std::filesystem::path& data_folder, const GatewayStatus& status, bool alive,
                  Time now);
void remove_health(const std::filesystem::path& data_folder);
[[nodiscard]] Health read_health(const std::filesystem::path& data_folder, Time now);

// "listening, 12,345 messages, 0 waiting, 40 stations": the service manager's status line.
[[nodiscard]] std::string status_line(const GatewayStatus& status);

}  // namespace driftline
