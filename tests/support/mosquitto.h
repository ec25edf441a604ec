// A real broker on a loopback port, with its store in a temporary folder.
#pragma once

#include <cstdint>
#include <string>

#include "tests/support/process.h"
#include "tests/support/temp_folder.h"

namespace driftline::testing {

struct MosquittoOptions {
  bool keeps_store = true;      // persistence over a restart
  std::string global;           // further lines before the listeners (allow_anonymous, password_file, ...)
  std::string second_listener;  // lines of a second listener; %PORT2% stands for its port
};

class Mosquitto {
 public:
  explicit Mosquitto(MosquittoOptions options = {});
  void start();  // returns when it listens
  void stop();   // SIGTERM: it writes its store
  void kill();   // SIGKILL: it does not
  [[nodiscard]] std::uint16_t port() const { return port_; }
  [[nodiscard]] std::uint16_t second_port() const { return second_port_; }
  [[nodiscard]] const TempFolder& folder() const { return folder_; }

 private:
  MosquittoOptions options_;
  TempFolder folder_;
  std::uint16_t port_ = free_port();
  std::uint16_t second_port_ = free_port();
  Process process_;
};

}  // namespace driftline::testing
