#include <cstdlib>
#include <fstream>
#include <nlohmann/json.hpp>
#include <set>

#include "gateway/app/config_parts.h"
#include "gateway/web/passwords.h"

namespace driftline {
namespace {

namespace fs = std::filesystem;

template <typename Value>
void take(const Json& from, std::string_view name, Value& to) {
  if (const auto found = from.find(name); found != from.end()) to = found->get<Value>();
}
template <typename Value>
void take(const Json& from, std::string_view name, std::optional<Value>& to) {
  if (const auto found = from.find(name); found != from.end()) to = found->get<Value>();
}

std::chrono::hours days(double count) {
  return std::chrono::hours(static_cast<std::int64_t>(count * 24));
}

class GatewayFile {
 public:
  GatewayFile(const fs::path& folder, std::vector<ConfigProblem>& problems)
      : folder_(folder), problems_(problems) {}

  std::string path(const std::string& text) const {
    return fs::path(text).is_absolute() ? text : (folder_ / text).string();
  }

  // A file that must be there. The text of a secret never leaves the rooms that use it.
  void readable(const Json& from, std::string_view name, const std::string& at,
                std::optional<std::string>& to) {
    const auto found = from.find(name);
    if (found == from.end()) return;
    to = path(found->get<std::string>());
    if (!std::ifstream(*to).is_open() || fs::is_directory(*to))
      problems_.push_back({"gateway.json", at + "/" + std::string(name),
                           "the file that it names cannot be read",
                           "a file that the user of the gateway may read"});
  }
  void variable(const Json& from, std::string_view name, const std::string& at,
                std::optional<std::string>& to) {
    take(from, name, to);
    if (to && std::getenv(to->c_str()) == nullptr)
      problems_.push_back({"gateway.json", at + "/" + std::string(name),
                           "the environment variable that it names is not set",
                           "the name of a variable that is set for the gateway"});
  }
  void one_of(const Json& from, const char* first, const char* second, const std::string& at) {
    if (from.contains(first) && from.contains(second))
      problems_.push_back(
          {"gateway.json", at + "/" + second, std::string(first) + " is given too", "one of the two"});
  }

  void broker(const Json& from, broker::BrokerSettings& to) {
    take(from, "host", to.host);
    if (from.contains("tls")) to.port = 8883;
    take(from, "port", to.port);
    if (from.value("protocol", "5") == "3.1.1") to.protocol = broker::Protocol::mqtt_3_1_1;
    take(from, "client_id", to.client_id);
    take(from, "user", to.user);
    variable(from, "user_env", "/broker", to.user_env);
    readable(from, "password_file", "/broker", to.password_file);
    variable(from, "password_env", "/broker", to.password_env);
    one_of(from, "user", "user_env", "/broker");
    one_of(from, "password_file", "password_env", "/broker");
    take(from, "keep_alive_s", to.keep_alive_s);
    take(from, "session_expiry_s", to.session_expiry_s);
    take(from, "retry_s_max", to.retry_s_max);
    if (const auto tls = from.find("tls"); tls != from.end()) take_tls(*tls, to.tls.emplace());
  }

  void metrics(const Json& from, metrics::MetricsSettings& to) {
    take(from, "url", to.url);
    if (from.value("interface", "v1") == "v2") to.interface = metrics::Interface::write_v2;
    take(from, "database", to.database);
    take(from, "user", to.user);
    take(from, "organisation", to.organisation);
    take(from, "bucket", to.bucket);
    take(from, "gateway", to.gateway);
    take(from, "batch_lines", to.batch_lines);
    readable(from, "password_file", "/metrics", to.password_file);
    variable(from, "password_env", "/metrics", to.password_env);
    readable(from, "token_file", "/metrics", to.token_file);
    variable(from, "token_env", "/metrics", to.token_env);
    readable(from, "ca_file", "/metrics", to.ca_file);
    one_of(from, "password_file", "password_env", "/metrics");
    one_of(from, "token_file", "token_env", "/metrics");
  }

  void heartbeat(const Json& from, HeartbeatSettings& to) {
    if (from.contains("every_s")) to.every = std::chrono::seconds(from["every_s"].get<int>());
    const auto hook = from.find("webhook");
    if (hook == from.end()) return;
    auto& webhook = to.webhook.emplace();
    webhook.url = hook->at("url").get<std::string>();
    if (hook->contains("every_min")) webhook.every = std::chrono::minutes(hook->at("every_min").get<int>());
    readable(*hook, "ca_file", "/heartbeat/webhook", webhook.ca_file);
  }

 private:
  void take_tls(const Json& from, broker::TlsSettings& to) {
    std::optional<std::string> ca;
    readable(from, "ca_file", "/broker/tls", ca);
    to.ca_file = ca.value_or("");
    readable(from, "certificate_file", "/broker/tls", to.certificate_file);
    readable(from, "key_file", "/broker/tls", to.key_file);
    if (to.certificate_file.has_value() != to.key_file.has_value())
      problems_.push_back({"gateway.json", "/broker/tls",
                           "of certificate_file and key_file only one is given", "both, or neither"});
  }

  const fs::path& folder_;
  std::vector<ConfigProblem>& problems_;
};

void take_web(const Json& from, const fs::path& folder, web::WebSettings& to, std::vector<ConfigProblem>& problems) {
  take(from, "address", to.address);
  take(from, "port", to.port);
  take(from, "trusted_proxies", to.trusted_proxies);
  take(from, "hosts", to.hosts);
  const auto tls = from.find("tls");
  if (tls == from.end()) return;
  to.tls.emplace();
  const auto file = [&](const char* name, std::string& path) {
    path = tls->at(name).get<std::string>();
    if (!fs::path(path).is_absolute()) path = (folder / path).string();
    if (!std::ifstream(path).is_open() || fs::is_directory(path))
      problems.push_back({"gateway.json", "/web/tls/" + std::string(name), "the file that it names cannot be read", "a PEM file that the user of the gateway may read"});
  };
  file("certificate_file", to.tls->certificate_file);
  file("key_file", to.tls->key_file);
}

void take_store(const Json& document, StoreSettings& store) {
  if (const auto found = document.find("sync_interval_ms"); found != document.end())
    store.sync_every = std::chrono::milliseconds(found->get<int>());
  const Json journal = document.value("journal", Json::object());
  if (journal.contains("waiting_mb_max"))
    store.journal_bytes_max = journal["waiting_mb_max"].get<std::uint64_t>() << 20;
  if (journal.contains("keep_mb")) store.journal_keep_bytes = journal["keep_mb"].get<std::uint64_t>() << 20;
  if (journal.contains("keep_days")) store.journal_keep_for = days(journal["keep_days"].get<double>());
  const Json keep = document.value("keep_days", Json::object());
  if (keep.contains("half_cycles")) store.keep_half_cycles = days(keep["half_cycles"].get<double>());
  if (keep.contains("warnings")) store.keep_warnings = days(keep["warnings"].get<double>());
  if (keep.contains("faults")) store.keep_faults = days(keep["faults"].get<double>());
}

}  // namespace

void take_gateway(const Json& document, const fs::path& folder, Config& config,
                  std::vector<ConfigProblem>& problems) {
  GatewayFile file(folder, problems);
  take(document, "topic_root", config.plant.topic_root);
  take(document, "output_root", config.broker.output_root);
  take(document, "watch_unknown_stations", config.plant.watch_unknown_stations);
  take(document, "threads", config.plant.threads);
  if (document.contains("data_folder"))
    config.store.data_folder = file.path(document["data_folder"].get<std::string>());
  take_store(document, config.store);
  if (const auto found = document.find("broker"); found != document.end()) file.broker(*found, config.broker);
  if (const auto found = document.find("metrics"); found != document.end())
    file.metrics(*found, config.metrics.emplace());
  if (const auto found = document.find("heartbeat"); found != document.end()) file.heartbeat(*found, config.heartbeat);
  if (const auto found = document.find("web"); found != document.end()) take_web(*found, folder, config.web.emplace(), problems);
  if (const auto found = document.find("mappings"); found != document.end())
    take_mappings(*found, config, problems);
}

void take_users(const Json& document, Config& config, std::vector<ConfigProblem>& problems) {
  const std::map<std::string, web::Role> roles{{"viewer", web::Role::viewer}, {"responder", web::Role::responder}, {"engineer", web::Role::engineer}};
  std::vector<web::User> users;
  std::set<std::string> names;
  std::size_t i = 0;
  for (const Json& user : document.value("users", Json::array())) {
    const std::string at = "/users/" + std::to_string(i++);
    web::User one{user.at("name").get<std::string>(), roles.at(user.at("role").get<std::string>()), user.at("password").get<std::string>()};
    if (!names.insert(one.name).second) problems.push_back({"users.json", at + "/name", "a user of this name stands above", "each name once"});
    if (!web::is_password_hash(one.password_hash))
      problems.push_back({"users.json", at + "/password", "it is not the hash of a password", "what `driftline user` writes"});
    users.push_back(std::move(one));
  }
  if (config.web) config.web->users = std::move(users);
}

}  // namespace driftline
