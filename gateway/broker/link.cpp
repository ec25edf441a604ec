#include "gateway/broker/link.h"

#include <MQTTAsync.h>
#include <netdb.h>
#include <mqtt/async_client.h>

#include <algorithm>
#include <atomic>
#include <deque>
#include <mutex>
#include <vector>

#include "gateway/broker/limits.h"
#include "gateway/broker/secret.h"
#include "gateway/broker/sockets.h"

namespace driftline::broker {
namespace {

constexpr int qos = 1;

std::string uri_of(const BrokerSettings& settings) {
  const bool v6 = settings.host.find(':') != std::string::npos;
  const std::string host = v6 ? "[" + settings.host + "]" : settings.host;
  return (settings.tls ? "ssl://" : "tcp://") + host + ":" + std::to_string(settings.port);
}

int version_of(const BrokerSettings& settings) {
  return settings.protocol == Protocol::mqtt_5 ? MQTTVERSION_5 : MQTTVERSION_3_1_1;
}

// The library keeps a ring of trace lines that nobody reads unless told otherwise: a third of its time. There
// is no call for it in the C++ interface, and it must come before the first client.
void silence_trace_ring() {
  static std::once_flag once;
  std::call_once(once, [] { MQTTAsync_setTraceLevel(MQTTASYNC_TRACE_ERROR); });
}

LinkTrouble trouble_of_code(int code, bool v5) {
  if (v5) {
    if (code == mqtt::BAD_USER_NAME_OR_PASSWORD || code == mqtt::NOT_AUTHORIZED || code == mqtt::BANNED)
      return LinkTrouble::not_authorised;
    return code >= mqtt::UNSPECIFIED_ERROR ? LinkTrouble::refused : LinkTrouble::unreachable;
  }
  if (code == 4 || code == 5) return LinkTrouble::not_authorised;  // MQTT 3.1.1, table 3.1
  return code >= 1 && code <= 3 ? LinkTrouble::refused : LinkTrouble::unreachable;
}

// For a name without an address the library gives a number and no word.
bool has_address(const std::string& host) {
  addrinfo* found = nullptr;
  addrinfo wanted{};
  wanted.ai_socktype = SOCK_STREAM;
  const int answer = ::getaddrinfo(host.c_str(), nullptr, &wanted, &found);
  if (found != nullptr) ::freeaddrinfo(found);
  return answer == 0;
}

std::string why_unreachable(const BrokerSettings& settings, const mqtt::exception& thrown) {
  if (!has_address(settings.host))
    return "the name " + settings.host + " has no address; right would be a host name that this machine can look up, or an IP address";
  const std::string said = thrown.get_message().empty() ? std::string(thrown.what()) : thrown.get_message();
  if (said.find("[-1]") == std::string::npos) return said;
  return "nothing answers there (" + said + "); see that a broker listens on port " + std::to_string(settings.port) +
         " and that no firewall is between";
}

std::string_view refusal_of(int code, bool v5) {
  if (v5) return MQTTReasonCode_toString(static_cast<MQTTReasonCodes>(code));
  switch (code) {
    case 1:
      return "protocol version not accepted";
    case 2:
      return "client id not accepted";
    case 3:
      return "server not available";
    case 4:
      return "bad user name or password";
    case 5:
      return "not authorised";
    default:
      return "refused";
  }
}

}  // namespace

std::string_view name_of(LinkTrouble trouble) {
  switch (trouble) {
    case LinkTrouble::credentials_unreadable:
      return "credentials-unreadable";
    case LinkTrouble::unreachable:
      return "unreachable";
    case LinkTrouble::tls:
      return "tls";
    case LinkTrouble::not_authorised:
      return "not-authorised";
    case LinkTrouble::refused:
      return "refused";
    case LinkTrouble::no_answer:
      return "no-answer";
    case LinkTrouble::lost:
      return "lost";
    case LinkTrouble::taken_over:
      return "taken-over";
  }
  return "unknown";
}

struct Link::Client {
  BrokerSettings settings;
  std::string client_id;
  Session session;
  std::optional<Will> will;
  LinkHandlers handlers;
  // The C layer keeps a pointer to the object on which the error handler was set, and copies of the options
  // carry that pointer along: both live as long as the client.
  mqtt::ssl_options tls;
  mqtt::connect_options options;
  std::mutex marks_mutex;
  std::vector<SocketMark> marks;
  std::mutex tls_mutex;
  std::string tls_text;
  bool session_present = false;
  std::atomic<bool> taken_over{false};
  std::atomic<bool> lost{false};  // since the last connect()
  std::unique_ptr<mqtt::async_client>
      mqtt_client;  // last: destroyed first, while what it calls is still there

  [[nodiscard]] bool v5() const { return settings.protocol == Protocol::mqtt_5; }
  [[nodiscard]] std::string address() const { return settings.host + ":" + std::to_string(settings.port); }

  void make_client();
  void set_options(const Credentials& credentials);
  void set_tls();
  void on_message(const mqtt::const_message_ptr& message) noexcept;
  void on_lost(std::string_view cause) noexcept;
  bool answered(const mqtt::token_ptr& token, std::chrono::milliseconds limit) const;
  std::optional<LinkFailure> confirm(const mqtt::delivery_token_ptr& token, std::chrono::milliseconds within);
  LinkFailure failure_of(const mqtt::exception& thrown);
  LinkFailure tls_failure();
  std::optional<LinkFailure> attempt();
};

void Link::Client::make_client() {
  silence_trace_ring();
  // Over the bound the library refuses; Link::publish stays under it.
  mqtt::create_options created(version_of(settings));
  created.set_max_buffered_messages(2 * static_cast<int>(publications_in_flight));
  mqtt_client = std::make_unique<mqtt::async_client>(uri_of(settings), client_id, created);
  mqtt_client->set_message_callback([this](const mqtt::const_message_ptr& message) { on_message(message); });
  mqtt_client->set_connection_lost_handler([this](const std::string& cause) { on_lost(cause); });
  if (v5()) {
    mqtt_client->set_disconnected_handler([this](const mqtt::properties&, mqtt::ReasonCode code) {
      if (code == mqtt::SESSION_TAKEN_OVER) taken_over = true;
    });
  }
}

// Called by C code: nothing may come out of these two.
void Link::Client::on_message(const mqtt::const_message_ptr& message) noexcept {
  const auto& payload = message->get_payload_ref();
  handlers.message(message->get_topic(),
                   payload ? std::string_view(payload.data(), payload.size()) : std::string_view());
}

void Link::Client::on_lost(std::string_view cause) noexcept {
  lost = true;
  const bool by_other = taken_over.exchange(false);
  std::string text = "connection to " + address() + " lost";
  if (by_other)
    text += ": another client came with the id " + client_id + "; each gateway needs an id of its own";
  else if (!cause.empty())
    text += ": " + std::string(cause);
  handlers.lost({by_other ? LinkTrouble::taken_over : LinkTrouble::lost, std::move(text)});
}

void Link::Client::set_tls() {
  tls = mqtt::ssl_options();
  if (!settings.tls->ca_file.empty()) tls.set_trust_store(settings.tls->ca_file);
  if (settings.tls->certificate_file) tls.set_key_store(*settings.tls->certificate_file);
  if (settings.tls->key_file) tls.set_private_key(*settings.tls->key_file);
  tls.set_enable_server_cert_auth(true);
  tls.set_verify(true);  // the host name; off unless asked for
  tls.set_error_handler([this](const std::string& text) {
    const std::lock_guard guard(tls_mutex);
    if (tls_text.size() < 400) tls_text += text;
  });
  options.set_ssl(tls);
}

// The order matters: properties last, or a later setter's copy leaves a dangling pointer in the C structure.
void Link::Client::set_options(const Credentials& credentials) {
  options = mqtt::connect_options();
  options.set_mqtt_version(version_of(settings));
  options.set_keep_alive_interval(settings.keep_alive_s);
  options.set_connect_timeout(connect_max);
  options.set_automatic_reconnect(false);
  options.set_max_inflight(static_cast<int>(publications_in_flight));
  if (credentials.user) options.set_user_name(*credentials.user);
  if (credentials.password) options.set_password(*credentials.password);
  if (will) options.set_will(mqtt::will_options(will->topic, will->payload, qos, true));
  if (settings.tls) set_tls();
  const bool fresh = session == Session::fresh;
  if (!v5()) {
    options.set_clean_session(fresh);
    return;
  }
  options.set_clean_start(fresh);
  mqtt::properties properties;
  if (!fresh)  // without an expiry the session ends with the connection (MQTT 5, 3.1.2.11.2)
    properties.add({mqtt::property::SESSION_EXPIRY_INTERVAL, static_cast<int>(settings.session_expiry_s)});
  properties.add({mqtt::property::MAXIMUM_PACKET_SIZE,
                  static_cast<int>(settings.payload_bytes_max + packet_overhead_bytes)});
  options.set_properties(properties);
}

LinkFailure Link::Client::tls_failure() {
  const std::lock_guard guard(tls_mutex);
  std::string text = "TLS with " + address() + " refused";
  if (tls_text.empty())
    text +=
        ": the broker's certificate is not for the host " + settings.host + ", or it closed the connection";
  else
    text += ": " + tls_text;
  return {LinkTrouble::tls, std::move(text)};
}

// In steps, because the library leaves tokens of a lost connection waiting.
bool Link::Client::answered(const mqtt::token_ptr& token, std::chrono::milliseconds limit) const {
  constexpr std::chrono::milliseconds step{50};
  for (std::chrono::milliseconds waited{0}; waited < limit && !lost; waited += step) {
    if (token->wait_for(step)) return true;
  }
  return false;
}

LinkFailure Link::Client::failure_of(const mqtt::exception& thrown) {
  const int reason = thrown.get_reason_code();
  const int code = v5() && reason > 0 ? reason : thrown.get_return_code();
  const LinkTrouble trouble = trouble_of_code(code, v5());
  if (trouble != LinkTrouble::unreachable)
    return {trouble, "broker " + address() + " says: " + std::string(refusal_of(code, v5()))};
  if (settings.tls && !thrown.get_message().empty() && thrown.get_message().find("TLS") != std::string::npos)
    return tls_failure();
  return {trouble, "broker " + address() + " cannot be reached: " + why_unreachable(settings, thrown)};
}

std::optional<LinkFailure> Link::Client::attempt() {
  lost = false;
  try {
    const mqtt::token_ptr token = mqtt_client->connect(options);
    if (!token->wait_for(connect_max + std::chrono::seconds{1})) {
      mqtt_client->disconnect();
      return LinkFailure{LinkTrouble::no_answer, "broker " + address() + " does not answer"};
    }
    session_present = token->get_connect_response().is_session_present();
    return std::nullopt;
  } catch (const mqtt::exception& thrown) {
    return failure_of(thrown);
  }
}

Link::Link(const BrokerSettings& settings, std::string client_id, Session session, std::optional<Will> will,
           LinkHandlers handlers)
    : client_(std::make_unique<Client>()) {
  client_->settings = settings;
  client_->client_id = std::move(client_id);
  client_->session = session;
  client_->will = std::move(will);
  client_->handlers = std::move(handlers);
  client_->make_client();
}

Link::~Link() {
  disconnect();
}

std::optional<LinkFailure> Link::connect() {
  const CredentialsOutcome read = read_credentials(client_->settings);
  if (read.problem) return LinkFailure{LinkTrouble::credentials_unreadable, *read.problem};
  client_->set_options(read.credentials);
  {
    const std::lock_guard guard(client_->tls_mutex);
    client_->tls_text.clear();
  }
  const std::vector<SocketMark> before = sockets_connected_to(client_->settings.port);
  {
    const std::lock_guard guard(client_->marks_mutex);
    client_->marks.clear();
  }
  auto failure = client_->attempt();
  if (failure) return failure;
  std::vector<SocketMark> ours = sockets_connected_to(client_->settings.port);
  std::erase_if(ours, [&](const SocketMark& mark) {
    return std::find(before.begin(), before.end(), mark) != before.end();
  });
  const std::lock_guard guard(client_->marks_mutex);
  client_->marks = std::move(ours);
  return std::nullopt;
}

bool Link::session_present() const {
  return client_->session_present;
}

std::optional<LinkFailure> Link::subscribe(const std::string& filter) {
  try {
    const mqtt::subscribe_options options(false, false, mqtt::subscribe_options::SEND_RETAINED_ON_NEW);
    const mqtt::token_ptr token = client_->v5() ? client_->mqtt_client->subscribe(filter, qos, options)
                                                : client_->mqtt_client->subscribe(filter, qos);
    if (!client_->answered(token, subscribe_max))
      return LinkFailure{LinkTrouble::no_answer, "no answer to the subscription to " + filter};
    const mqtt::subscribe_response response = token->get_subscribe_response();
    for (const mqtt::ReasonCode granted : response.get_reason_codes()) {
      if (granted >= mqtt::UNSPECIFIED_ERROR)
        return LinkFailure{LinkTrouble::not_authorised, "the broker refuses the subscription to " + filter};
    }
    return std::nullopt;
  } catch (const mqtt::exception& thrown) {
    if (thrown.get_reason_code() >= mqtt::UNSPECIFIED_ERROR)
      return LinkFailure{LinkTrouble::not_authorised, "the broker refuses the subscription to " + filter};
    return LinkFailure{LinkTrouble::lost, std::string("subscription to ") + filter + ": " + thrown.what()};
  }
}

std::optional<LinkFailure> Link::Client::confirm(const mqtt::delivery_token_ptr& token,
                                                 std::chrono::milliseconds within) {
  if (!answered(token, within))
    return LinkFailure{LinkTrouble::no_answer, "the broker does not confirm what is published"};
  const int reason = token->get_reason_code();
  // 16, no matching subscribers, is a good answer.
  if (v5() && reason >= mqtt::UNSPECIFIED_ERROR && reason != mqtt::MQTTPP_V3_CODE)
    return LinkFailure{LinkTrouble::not_authorised,
                       "the broker refuses to take " + token->get_message()->get_topic()};
  return std::nullopt;
}

std::optional<LinkFailure> Link::publish(std::span<const Outgoing> messages,
                                         std::chrono::milliseconds confirm_within) {
  mqtt::async_client& mqtt_client = *client_->mqtt_client;
  std::deque<mqtt::delivery_token_ptr> waiting;
  try {
    for (const Outgoing& message : messages) {
      if (waiting.size() >= publications_in_flight) {
        if (auto failure = client_->confirm(waiting.front(), confirm_within)) return failure;
        waiting.pop_front();
      }
      waiting.push_back(mqtt_client.publish(message.topic, message.payload.data(), message.payload.size(),
                                            qos, message.retained));
    }
    for (const mqtt::delivery_token_ptr& token : waiting)
      if (auto failure = client_->confirm(token, confirm_within)) return failure;
    return std::nullopt;
  } catch (const mqtt::exception& thrown) {
    const bool refused = client_->v5() && thrown.get_reason_code() >= mqtt::UNSPECIFIED_ERROR;
    return LinkFailure{refused ? LinkTrouble::not_authorised : LinkTrouble::lost,
                       std::string("publishing: ") + thrown.what()};
  }
}

void Link::disconnect() {
  if (!client_ || !client_->mqtt_client) return;
  try {
    const mqtt::token_ptr token = client_->mqtt_client->disconnect(mqtt::disconnect_options(disconnect_max));
    (void)token->wait_for(disconnect_max + std::chrono::seconds{1});
  } catch (const mqtt::exception&) {
    // Not connected: that is what was wanted.
  }
}

void Link::sever() {
  const std::lock_guard guard(client_->marks_mutex);
  shut_down(client_->marks);
}

const std::string& Link::client_id() const {
  return client_->client_id;
}

}  // namespace driftline::broker
