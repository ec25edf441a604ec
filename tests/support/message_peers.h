// A real mail server and a real endpoint on loopback, and what they were given.
#pragma once

#include <filesystem>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "gateway/messages/channel.h"
#include "tests/support/certificates.h"
#include "tests/support/process.h"
#include "tests/support/temp_folder.h"

namespace driftline::testing {

class MailServer {
 public:
  explicit MailServer(const Certificates& authority);
  void start();
  void kill() { process_.kill(); }
  void behave(const std::string& mode) const { folder_.write("mode", mode); }
  [[nodiscard]] messages::MailSettings settings() const;
  [[nodiscard]] std::size_t count() const;
  // As Python's email package reads them (tests/support/read_mails.py), in order of arrival.
  [[nodiscard]] std::vector<nlohmann::json> mails() const;
  // When each was taken, in order of arrival.
  [[nodiscard]] std::vector<std::filesystem::file_time_type> arrivals() const;
  [[nodiscard]] std::uint16_t port() const { return port_; }

 private:
  TempFolder folder_;
  std::string ca_file_, password_file_;
  Certificate certificate_;
  std::uint16_t port_ = free_port();
  Process process_;
};

class Endpoint {
 public:
  static constexpr const char* key = "an invented key of thirty bytes";
  Endpoint() { start(); }
  void start();
  void kill() { process_.kill(); }
  void behave(const std::string& mode) const { folder_.write("mode", mode); }
  [[nodiscard]] messages::WebhookSettings settings() const;
  [[nodiscard]] std::vector<nlohmann::json> requests() const;

 private:
  TempFolder folder_;
  TempFolder keys_;
  std::string key_file_ = keys_.write("key", std::string(key) + "\n");
  std::uint16_t port_ = free_port();
  Process process_;
};

}  // namespace driftline::testing
