#include "tests/support/mosquitto.h"

#include <unistd.h>

#include <csignal>
#include <stdexcept>

#include "tests/support/eventually.h"

namespace driftline::testing {
namespace {

std::string replaced(std::string text, const std::string& what, const std::string& with) {
  for (auto at = text.find(what); at != std::string::npos; at = text.find(what, at))
    text.replace(at, what.size(), with);
  return text;
}

}  // namespace

Mosquitto::Mosquitto(MosquittoOptions options) : options_(std::move(options)) {
  std::string lines = "per_listener_settings false\n" + options_.global;
  if (geteuid() == 0) lines += "user root\n";  // else it gives up its rights to the folder
  if (options_.global.find("allow_anonymous") == std::string::npos) lines += "allow_anonymous true\n";
  if (options_.global.find("max_queued_messages") == std::string::npos)
    lines +=
        "max_queued_messages 1000000\nmax_inflight_messages 1000\nautosave_interval 1\nset_tcp_nodelay "
        "true\n";
  lines += options_.keeps_store ? "persistence true\npersistence_location " + folder_.path().string() + "/\n"
                                : "persistence false\n";
  lines += "log_dest file " + folder_.file("broker.log") + "\n";
  lines += "listener " + std::to_string(port_) + " 127.0.0.1\n";
  lines += replaced(options_.second_listener, "%PORT2%", std::to_string(second_port_));
  folder_.write("mosquitto.conf", lines);
}

void Mosquitto::start() {
  process_ = Process({.command = {"mosquitto", "-c", folder_.file("mosquitto.conf")},
                      .environment = {"PATH=/usr/sbin:/usr/bin:/sbin:/bin"},
                      .output_file = folder_.file("broker.out"),
                      .file_bytes_max = {}});
  if (!eventually([&] { return listening(port_) || !process_.running(); }) || !process_.running())
    throw std::runtime_error("mosquitto does not start; see " + folder_.file("broker.out"));
}

void Mosquitto::stop() {
  process_.signal(SIGTERM);
  if (!process_.wait()) process_.kill();
}

void Mosquitto::kill() {
  process_.kill();
}

}  // namespace driftline::testing
