#include "gateway/metrics/http.h"

#include <curl/curl.h>

#include <algorithm>
#include <atomic>

#include "gateway/metrics/gzip.h"
#include "gateway/metrics/secret.h"

namespace driftline::metrics {
namespace {

void start_curl_once() {
  static const CURLcode started = curl_global_init(CURL_GLOBAL_DEFAULT);
  (void)started;
}

std::size_t keep_answer(char* bytes, std::size_t size, std::size_t count, void* into) noexcept {
  auto& text = *static_cast<std::string*>(into);
  const std::size_t room = answer_bytes_max - std::min(answer_bytes_max, text.size());
  text.append(bytes, std::min(room, size * count));  // reserved beforehand: does not throw
  return size * count;                               // the rest is read and dropped
}

int stop_if_abandoned(void* flag, curl_off_t, curl_off_t, curl_off_t, curl_off_t) noexcept {
  return static_cast<std::atomic<bool>*>(flag)->load() ? 1 : 0;
}

std::string escaped(const std::string& text) {
  static constexpr char hex[] = "0123456789ABCDEF";
  std::string out;
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    const bool plain = (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-' ||
                       c == '.' || c == '_' || c == '~';
    if (plain)
      out += c;
    else
      out.append("%").append(1, hex[byte >> 4]).append(1, hex[byte & 15]);
  }
  return out;
}

}  // namespace

std::string write_url(const MetricsSettings& settings) {
  std::string url = settings.url;
  while (url.ends_with('/')) url.pop_back();
  switch (settings.interface) {
    case Interface::write_v1: return url + "/write?db=" + escaped(settings.database) + "&precision=ms";
    case Interface::write_v2:
      return url + "/api/v2/write?org=" + escaped(settings.organisation) + "&bucket=" + escaped(settings.bucket) +
             "&precision=ms";
  }
  return url;
}

struct Poster::Handle {
  CURL* curl = nullptr;
  curl_slist* headers = nullptr;
  std::atomic<bool> abandoned{false};
  std::string answer;
  std::string problem;  // with the secret
  char error[CURL_ERROR_SIZE] = {};
};

Poster::Poster(const MetricsSettings& settings) : handle_(std::make_unique<Handle>()) {
  start_curl_once();
  Handle& h = *handle_;
  h.curl = curl_easy_init();
  if (h.curl == nullptr) return;
  for (const char* header : {"Content-Type: text/plain; charset=utf-8", "Content-Encoding: gzip", "Expect:"})
    h.headers = curl_slist_append(h.headers, header);
  const bool v2 = settings.interface == Interface::write_v2;
  const auto [secret, problem] = v2 ? read_secret(settings.token_file, settings.token_env)
                                    : read_secret(settings.password_file, settings.password_env);
  h.problem = problem.value_or("");
  if (v2 && secret) h.headers = curl_slist_append(h.headers, ("Authorization: Token " + *secret).c_str());
  const auto set = [&](CURLoption option, auto value) { curl_easy_setopt(h.curl, option, value); };
  set(CURLOPT_URL, write_url(settings).c_str());
  set(CURLOPT_PROTOCOLS_STR, "http,https");
  set(CURLOPT_HTTPHEADER, h.headers);
  set(CURLOPT_POST, 1L);
  set(CURLOPT_NOSIGNAL, 1L);
  set(CURLOPT_FOLLOWLOCATION, 0L);  // a redirect could carry the secret to another host
  set(CURLOPT_CONNECTTIMEOUT_MS, static_cast<long>(settings.connect_limit_ms));
  set(CURLOPT_TIMEOUT_MS, static_cast<long>(settings.total_limit_ms));
  set(CURLOPT_LOW_SPEED_LIMIT, 100L);  // bytes a second ...
  set(CURLOPT_LOW_SPEED_TIME, 15L);    // ... over so many seconds: a server that trickles is down
  set(CURLOPT_SSL_VERIFYPEER, 1L);
  set(CURLOPT_SSL_VERIFYHOST, 2L);
  if (settings.ca_file) set(CURLOPT_CAINFO, settings.ca_file->c_str());
  set(CURLOPT_USERAGENT, "driftline");
  set(CURLOPT_ERRORBUFFER, &h.error[0]);
  set(CURLOPT_WRITEFUNCTION, &keep_answer);
  set(CURLOPT_WRITEDATA, &h.answer);
  set(CURLOPT_NOPROGRESS, 0L);
  set(CURLOPT_XFERINFOFUNCTION, &stop_if_abandoned);
  set(CURLOPT_XFERINFODATA, &h.abandoned);
  if (!v2 && settings.user) {
    set(CURLOPT_HTTPAUTH, static_cast<long>(CURLAUTH_BASIC));
    set(CURLOPT_USERNAME, settings.user->c_str());
    set(CURLOPT_PASSWORD, secret.value_or("").c_str());
  }
}

Poster::~Poster() {
  curl_slist_free_all(handle_->headers);
  curl_easy_cleanup(handle_->curl);
}

Answer Poster::post(std::string_view lines) {
  Handle& h = *handle_;
  if (h.curl == nullptr) return {0, "libcurl cannot start", {}};
  if (!h.problem.empty()) return {0, h.problem, {}};
  const std::string body = gzipped(lines);
  if (body.empty()) return {0, "no memory to compress the lines", {}};
  h.answer.clear();
  h.answer.reserve(answer_bytes_max);
  h.error[0] = '\0';
  curl_easy_setopt(h.curl, CURLOPT_POSTFIELDS, body.data());
  curl_easy_setopt(h.curl, CURLOPT_POSTFIELDSIZE_LARGE, static_cast<curl_off_t>(body.size()));
  const CURLcode code = curl_easy_perform(h.curl);
  Answer answer;
  if (code != CURLE_OK) {
    answer.text = h.error[0] != '\0' ? &h.error[0] : curl_easy_strerror(code);
    return answer;
  }
  long status = 0;
  curl_off_t retry_after_s = 0;
  curl_easy_getinfo(h.curl, CURLINFO_RESPONSE_CODE, &status);
  curl_easy_getinfo(h.curl, CURLINFO_RETRY_AFTER, &retry_after_s);
  answer.status = static_cast<int>(status);
  answer.text = h.answer;
  const auto most = static_cast<curl_off_t>(retry_after_most.count());
  answer.retry_after = std::chrono::seconds{std::clamp<curl_off_t>(retry_after_s, 0, most)};
  return answer;
}

void Poster::abandon() { handle_->abandoned.store(true); }

}  // namespace driftline::metrics
