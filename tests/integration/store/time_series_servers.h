// Real time-series servers on loopback ports, with their data in temporary folders.
#pragma once

#include <cstdint>
#include <string>

#include "tests/integration/store/http_peer.h"
#include "tests/support/eventually.h"
#include "tests/support/process.h"
#include "tests/support/temp_folder.h"

namespace driftline::testing {

// influxd 1.6.7: keeps what it has answered 204 to, also when it is killed.
class Influx {
 public:
  explicit Influx(bool with_passwords = false) {
    config_ = folder_.write("influxd.conf", "reporting-disabled = true\nbind-address = \"127.0.0.1:" + std::to_string(free_port()) +
                                                "\"\n[meta]\ndir = \"" + folder_.file("meta") + "\"\n[data]\ndir = \"" +
                                                folder_.file("data") + "\"\nwal-dir = \"" + folder_.file("wal") +
                                                "\"\n[monitor]\nstore-enabled = false\n[http]\nbind-address = \"127.0.0.1:" +
                                                std::to_string(port_) + "\"\nauth-enabled = " +
                                                (with_passwords ? "true" : "false") + "\n");
    start();
  }
  void start() {
    process_ = Process({.command = {"influxd", "-config", config_}, .environment = {}, .output_file = folder_.file("log"),
                        .file_bytes_max = {}});
    up_ = eventually([&] { return http_request(port_, "GET", "/ping").status == 204; });
  }
  void kill() { process_.kill(); }
  [[nodiscard]] bool up() const { return up_; }
  [[nodiscard]] std::uint16_t port() const { return port_; }
  HttpReply query(const std::string& q, const std::string& login = "") const {
    return http_request(port_, "POST", "/query?epoch=ms&db=driftline&q=" + url_escaped(q) + login);
  }

 private:
  TempFolder folder_;
  std::uint16_t port_ = free_port();
  std::string config_;
  Process process_;
  bool up_ = false;
};

// victoria-metrics 1.79.5: answers 204 before the data are on the disk, so it is stopped in good order here.
class Victoria {
 public:
  Victoria() { start(); }
  void start() {
    process_ = Process({.command = {"victoria-metrics", "-httpListenAddr=127.0.0.1:" + std::to_string(port_),
                                    "-storageDataPath=" + folder_.file("data"), "-retentionPeriod=100y",
                                    "-search.latencyOffset=0s", "-memory.allowedBytes=64MB"},
                        .environment = {},
                        .output_file = folder_.file("log"),
                        .file_bytes_max = {}});
    up_ = eventually([&] { return http_request(port_, "GET", "/health").status == 200; });
  }
  void stop() {
    process_.signal(15);
    (void)process_.wait();
  }
  [[nodiscard]] bool up() const { return up_; }
  [[nodiscard]] std::uint16_t port() const { return port_; }
  // One JSON object a series and line.
  [[nodiscard]] std::string exported(const std::string& name_pattern) const {
    (void)http_request(port_, "GET", "/internal/force_flush");
    return http_request(port_, "GET", "/api/v1/export?match[]=" + url_escaped("{__name__=~\"" + name_pattern + "\"}")).body;
  }

 private:
  TempFolder folder_;
  std::uint16_t port_ = free_port();
  Process process_;
  bool up_ = false;
};

}  // namespace driftline::testing
