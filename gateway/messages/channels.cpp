#include <curl/curl.h>
#include <sodium.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <cstdio>
#include <cstring>
#include <fstream>

#include "gateway/messages/channel.h"
#include "gateway/messages/limits.h"
#include "gateway/messages/mail.h"
#include "gateway/telemetry/json_text.h"
#include "rules/records/names.h"
#include "rules/records/time_text.h"

namespace driftline::messages {
namespace {

struct CurlHandle {
  CurlHandle() {
    static const CURLcode started = curl_global_init(CURL_GLOBAL_DEFAULT);
    static const int ready = sodium_init();
    (void)started;
    (void)ready;
    curl = curl_easy_init();
  }
  CurlHandle(const CurlHandle&) = delete;
  CurlHandle& operator=(const CurlHandle&) = delete;
  ~CurlHandle() {
    curl_slist_free_all(list);
    curl_easy_cleanup(curl);
  }
  template <typename Value>
  void set(CURLoption option, Value value) {
    curl_easy_setopt(curl, option, value);
  }
  void set_limits(const std::optional<std::string>& ca_file) {
    set(CURLOPT_NOSIGNAL, 1L);
    set(CURLOPT_CONNECTTIMEOUT_MS, connect_limit_ms);
    set(CURLOPT_TIMEOUT_MS, total_limit_ms);
    set(CURLOPT_SSL_VERIFYPEER, 1L);
    set(CURLOPT_SSL_VERIFYHOST, 2L);
    set(CURLOPT_FOLLOWLOCATION, 0L);
    if (ca_file) set(CURLOPT_CAINFO, ca_file->c_str());
    set(CURLOPT_ERRORBUFFER, error.data());
  }
  void break_off_when(const std::atomic<bool>& stopping) {
    set(CURLOPT_NOPROGRESS, 0L);
    set(CURLOPT_XFERINFOFUNCTION, &break_off);
    set(CURLOPT_XFERINFODATA, const_cast<void*>(static_cast<const void*>(&stopping)));
  }
  // Called by the library at least once a second.
  static int break_off(void* stopping, curl_off_t, curl_off_t, curl_off_t, curl_off_t) noexcept {
    return *static_cast<const std::atomic<bool>*>(stopping) ? 1 : 0;
  }
  [[nodiscard]] std::string error_text(CURLcode code) const { return error[0] != '\0' ? error.data() : curl_easy_strerror(code); }

  CURL* curl = nullptr;
  curl_slist* list = nullptr;
  std::array<char, CURL_ERROR_SIZE> error{};
};

struct Upload {
  std::string_view rest;
};
std::size_t give(char* into, std::size_t size, std::size_t count, void* from) noexcept {
  auto& upload = *static_cast<Upload*>(from);
  const std::size_t n = std::min(size * count, upload.rest.size());
  std::memcpy(into, upload.rest.data(), n);
  upload.rest.remove_prefix(n);
  return n;
}
std::size_t keep(char* bytes, std::size_t size, std::size_t count, void* into) noexcept {
  auto& text = *static_cast<std::string*>(into);
  const std::size_t room = 500 - std::min<std::size_t>(500, text.size());
  text.append(bytes, std::min(room, size * count));
  return size * count;
}

std::optional<std::string> first_line_of(const std::string& file) {
  std::ifstream stream(file);
  std::string line;
  if (!std::getline(stream, line)) return std::nullopt;
  while (!line.empty() && (line.back() == '\r' || line.back() == '\n')) line.pop_back();
  return line;
}

class Mail : public Channel {
 public:
  explicit Mail(MailSettings settings) : settings_(std::move(settings)) {}

  SendResult send(const Outbound& message) override {
    if (!is_mail_address(message.address)) return {Sent::refused, true, "the address is none that can be used in mail", {}};
    const std::string host = settings_.from.substr(settings_.from.find('@') + 1);
    const std::string bytes = mail_of(message.text, {settings_.from, message.address, message.now, message.identity, host});
    CurlHandle h;
    if (h.curl == nullptr) return {Sent::later, true, "libcurl cannot start", {}};
    h.set_limits(settings_.ca_file);
    h.break_off_when(stopping_);
    h.set(CURLOPT_PROTOCOLS_STR, "smtp");
    h.set(CURLOPT_URL, ("smtp://" + settings_.server + "/" + host).c_str());
    h.set(CURLOPT_USE_SSL, static_cast<long>(CURLUSESSL_ALL));  // STARTTLS or nothing
    if (!settings_.user.empty()) {
      const auto secret = settings_.password_file ? first_line_of(*settings_.password_file) : std::nullopt;
      if (!secret) return {Sent::later, true, "the password's file cannot be read", {}};
      h.set(CURLOPT_USERNAME, settings_.user.c_str());
      h.set(CURLOPT_PASSWORD, secret->c_str());
    }
    h.set(CURLOPT_MAIL_FROM, ("<" + settings_.from + ">").c_str());
    h.list = curl_slist_append(nullptr, ("<" + message.address + ">").c_str());
    h.set(CURLOPT_MAIL_RCPT, h.list);
    Upload upload{bytes};
    h.set(CURLOPT_READFUNCTION, &give);
    h.set(CURLOPT_READDATA, &upload);
    h.set(CURLOPT_UPLOAD, 1L);
    const CURLcode code = curl_easy_perform(h.curl);
    long reply = 0;
    curl_easy_getinfo(h.curl, CURLINFO_RESPONSE_CODE, &reply);
    return result(code, reply, upload.rest.empty(), h);
  }
  void stop() override { stopping_ = true; }

 private:
  // RFC 5321, 4.2.1: the first digit decides. Replies to the connection and to the sign-in are the server's trouble with us, not
  // with the message; 4yz to anything else is this address' or this message's.
  static SendResult result(CURLcode code, long reply, bool handed_over, const CurlHandle& h) {
    if (code == CURLE_OK) return {Sent::yes, true, std::to_string(reply), {}};
    const std::string why = h.error_text(code) + (reply > 0 ? " (" + std::to_string(reply) + ")" : "");
    const bool of_us = code == CURLE_LOGIN_DENIED || code == CURLE_USE_SSL_FAILED || reply == 421 || reply == 454 || reply == 530 || reply == 534 || reply == 535 || reply == 538;
    if (of_us || reply < 400 || reply >= 600) return {Sent::later, !handed_over || reply >= 400, why, {}};
    return {reply >= 500 ? Sent::refused : Sent::later_here, true, why, {}};
  }

  const MailSettings settings_;
  std::atomic<bool> stopping_{false};
};

class Webhook : public Channel {
 public:
  explicit Webhook(WebhookSettings settings) : settings_(std::move(settings)) {}

  SendResult send(const Outbound& message) override {
    const auto key = first_line_of(settings_.key_file);
    if (!key || key->size() < key_bytes_min) return {Sent::later, true, "the key's file cannot be read, or the key is too short", {}};
    const std::string body = webhook_body(message);
    CurlHandle h;
    if (h.curl == nullptr) return {Sent::later, true, "libcurl cannot start", {}};
    h.set_limits(settings_.ca_file);
    h.break_off_when(stopping_);
    h.set(CURLOPT_PROTOCOLS_STR, "http,https");
    h.set(CURLOPT_URL, settings_.url.c_str());
    for (const std::string& header : {std::string("Content-Type: application/json"), std::string("Expect:"),
                                      "Idempotency-Key: " + message.identity,
                                      "Driftline-Signature: sha256=" + signature_of(*key, body)})
      h.list = curl_slist_append(h.list, header.c_str());
    h.set(CURLOPT_HTTPHEADER, h.list);
    h.set(CURLOPT_POST, 1L);
    h.set(CURLOPT_POSTFIELDS, body.data());
    h.set(CURLOPT_POSTFIELDSIZE_LARGE, static_cast<curl_off_t>(body.size()));
    std::string answer;
    answer.reserve(512);
    h.set(CURLOPT_WRITEFUNCTION, &keep);
    h.set(CURLOPT_WRITEDATA, &answer);
    const CURLcode code = curl_easy_perform(h.curl);
    long request_bytes = 0;
    curl_easy_getinfo(h.curl, CURLINFO_REQUEST_SIZE, &request_bytes);
    if (code != CURLE_OK) return {Sent::later, request_bytes == 0, h.error_text(code), {}};
    long status = 0;
    curl_off_t wait_s = 0;
    curl_easy_getinfo(h.curl, CURLINFO_RESPONSE_CODE, &status);
    curl_easy_getinfo(h.curl, CURLINFO_RETRY_AFTER, &wait_s);
    const std::string why = std::to_string(status) + ": " + answer;
    if (status >= 200 && status < 300) return {Sent::yes, true, why, {}};
    const bool of_the_message = status == 400 || status == 413 || status == 415 || status == 422;
    const auto wait = std::chrono::seconds{std::clamp<curl_off_t>(wait_s, 0, back_off_most.count())};
    return {of_the_message ? Sent::refused : Sent::later, true, why, wait};
  }
  void stop() override { stopping_ = true; }

 private:
  const WebhookSettings settings_;
  std::atomic<bool> stopping_{false};
};

void put(std::string& out, std::string_view name, std::string_view text) {
  out += out.back() == '{' ? "" : ",";
  append_json_string(out, name);
  out += ':';
  append_json_string(out, text);
}

void put_forecast(std::string& out, const Item& item) {
  const Forecast forecast = item.warning ? item.warning->forecast : Forecast{};
  const auto time = [&](std::string_view name, const std::optional<Time>& at) {
    if (at)
      put(out, name, rfc3339(*at));
    else
      out += ",\"" + std::string(name) + "\":null";
  };
  time("limit_at", forecast.limit_at);
  time("limit_at_earliest", forecast.limit_at_earliest);
  time("limit_at_latest", forecast.limit_at_latest);
}

void put_causes(std::string& out, const Item& item) {
  out += ",\"causes\":[";
  bool first = true;
  for (const WeightedCause& cause : item.warning ? item.warning->causes : std::vector<WeightedCause>{}) {
    out += std::exchange(first, false) ? "{" : ",{";
    put(out, "cause", name_of(cause.cause));
    char weight[32];
    std::snprintf(weight, sizeof weight, "%.3f", cause.weight);
    out += std::string(",\"weight\":") + weight + "}";
  }
  out += ']';
}

}  // namespace

std::string signature_of(std::string_view key, std::string_view body) {
  std::array<unsigned char, crypto_auth_hmacsha256_BYTES> mac{};
  crypto_auth_hmacsha256_state state;
  crypto_auth_hmacsha256_init(&state, reinterpret_cast<const unsigned char*>(key.data()), key.size());
  crypto_auth_hmacsha256_update(&state, reinterpret_cast<const unsigned char*>(body.data()), body.size());
  crypto_auth_hmacsha256_final(&state, mac.data());
  std::string hex(2 * mac.size() + 1, '\0');
  sodium_bin2hex(hex.data(), hex.size(), mac.data(), mac.size());
  hex.pop_back();
  return hex;
}

std::string hash_of(std::string_view text) {
  std::array<unsigned char, 16> hash{};
  crypto_generichash(hash.data(), hash.size(), reinterpret_cast<const unsigned char*>(text.data()), text.size(), nullptr, 0);
  std::string out(33, '\0');
  sodium_bin2hex(out.data(), out.size(), hash.data(), hash.size());
  out.resize(32);
  return out;
}

std::string webhook_body(const Outbound& message) {
  std::string out = "{";
  put(out, "person", message.person);
  put(out, "address", message.address);
  put(out, "subject", message.text.subject);
  put(out, "text", message.text.plain);
  out += ",\"warnings\":[";
  bool first = true;
  for (const Item& item : message.items) {
    const history::MessageRow& row = item.message.row;
    if (!row.warning) continue;
    out += std::exchange(first, false) ? "{" : ",{";
    put(out, "kind", name_of(row.kind));
    put(out, "site", row.warning->station.site);
    put(out, "station", row.warning->station.station);
    out += ",\"line\":" + (row.warning->line ? std::to_string(*row.warning->line) : "null");
    put(out, "condition", name_of(row.warning->condition));
    put(out, "urgency", name_of(row.urgency));
    put(out, "raised", rfc3339(row.raised));
    put_forecast(out, item);
    put_causes(out, item);
    out += '}';
  }
  out += "]}";
  return out;
}

std::unique_ptr<Channel> mail_channel(const MailSettings& settings) { return std::make_unique<Mail>(settings); }
std::unique_ptr<Channel> webhook_channel(const WebhookSettings& settings) { return std::make_unique<Webhook>(settings); }

}  // namespace driftline::messages
