#include "tests/support/message_peers.h"

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <stdexcept>

#include "tests/support/eventually.h"

namespace driftline::testing {
namespace {

const std::string support = std::string(DRIFTLINE_SOURCE_DIR) + "/tests/support/";
constexpr const char* python = "/usr/bin/python3";  // Debian's, which has aiosmtpd

Process listening_process(std::vector<std::string> arguments, const std::string& log, std::uint16_t port) {
  arguments.insert(arguments.begin(), python);
  Process process({.command = std::move(arguments), .environment = {}, .output_file = log, .file_bytes_max = {}});
  if (!eventually([&] { return listening(port) || !process.running(); }) || !process.running()) throw std::runtime_error("a server does not start, see " + log);
  return process;
}

std::vector<std::filesystem::path> files(const TempFolder& folder, const char* ending) {
  std::vector<std::filesystem::path> all;
  for (const auto& entry : std::filesystem::directory_iterator(folder.path()))
    if (entry.path().extension() == ending) all.push_back(entry.path());
  std::ranges::sort(all);
  return all;
}

}  // namespace

MailServer::MailServer(const Certificates& authority)
    : ca_file_(authority.ca_file()),
      password_file_(folder_.write("password", "an invented password\n")),
      certificate_(authority.issue("localhost", "DNS:localhost,IP:127.0.0.1")) {
  start();
}

void MailServer::start() {
  process_ = listening_process({support + "mail_server.py", std::to_string(port_), certificate_.certificate_file, certificate_.key_file, folder_.path().string()},
                               folder_.file("log"), port_);
}

messages::MailSettings MailServer::settings() const {
  return {.server = "localhost:" + std::to_string(port_), .from = "driftline@plant.example", .user = "driftline", .password_file = password_file_, .ca_file = ca_file_};
}

std::size_t MailServer::count() const { return files(folder_, ".eml").size(); }

std::vector<std::filesystem::file_time_type> MailServer::arrivals() const {
  std::vector<std::filesystem::file_time_type> all;
  for (const auto& file : files(folder_, ".eml")) all.push_back(std::filesystem::last_write_time(file));
  return all;
}

std::vector<nlohmann::json> MailServer::mails() const {
  const TempFolder out;
  Process process({.command = {python, support + "read_mails.py", folder_.path().string()}, .environment = {}, .output_file = out.file("mails"), .file_bytes_max = {}});
  const bool read = process.wait() == 0;
  std::ifstream lines(out.file("mails"));
  std::vector<nlohmann::json> all;
  for (std::string line; std::getline(lines, line);) {
    if (!read) throw std::runtime_error(line);
    all.push_back(nlohmann::json::parse(line));
  }
  return all;
}

void Endpoint::start() {
  process_ = listening_process({support + "webhook_endpoint.py", std::to_string(port_), folder_.path().string(), key}, folder_.file("log"), port_);
}

messages::WebhookSettings Endpoint::settings() const {
  return {.url = "http://127.0.0.1:" + std::to_string(port_) + "/driftline", .key_file = key_file_, .ca_file = {}};
}

std::vector<nlohmann::json> Endpoint::requests() const {
  std::vector<nlohmann::json> all;
  for (const auto& file : files(folder_, ".json")) all.push_back(nlohmann::json::parse(std::ifstream(file)));
  return all;
}

}  // namespace driftline::testing
