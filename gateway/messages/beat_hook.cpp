#include "gateway/messages/beat_hook.h"

#include <curl/curl.h>

#include <array>
#include <memory>

#include "gateway/messages/limits.h"

namespace driftline::messages {
namespace {

std::size_t drop(char*, std::size_t size, std::size_t count, void*) noexcept { return size * count; }

}  // namespace

std::optional<std::string> call_beat_hook(const std::string& url, const std::optional<std::string>& ca_file, const std::string& body) {
  static const CURLcode started = curl_global_init(CURL_GLOBAL_DEFAULT);
  const std::unique_ptr<CURL, decltype(&curl_easy_cleanup)> curl(curl_easy_init(), &curl_easy_cleanup);
  if (started != CURLE_OK || !curl) return "the HTTP library cannot be used";
  const std::unique_ptr<curl_slist, decltype(&curl_slist_free_all)> headers(curl_slist_append(nullptr, "Content-Type: application/json"), &curl_slist_free_all);
  std::array<char, CURL_ERROR_SIZE> error{};
  const auto set = [&](CURLoption option, auto value) { curl_easy_setopt(curl.get(), option, value); };
  set(CURLOPT_URL, url.c_str());
  set(CURLOPT_PROTOCOLS_STR, "http,https");
  set(CURLOPT_HTTPHEADER, headers.get());
  set(CURLOPT_POST, 1L);
  set(CURLOPT_POSTFIELDS, body.c_str());
  set(CURLOPT_POSTFIELDSIZE, static_cast<long>(body.size()));
  set(CURLOPT_NOSIGNAL, 1L);
  set(CURLOPT_FOLLOWLOCATION, 0L);
  set(CURLOPT_CONNECTTIMEOUT_MS, beat_hook_limit_ms);
  set(CURLOPT_TIMEOUT_MS, beat_hook_limit_ms);
  set(CURLOPT_SSL_VERIFYPEER, 1L);
  set(CURLOPT_SSL_VERIFYHOST, 2L);
  if (ca_file) set(CURLOPT_CAINFO, ca_file->c_str());
  set(CURLOPT_USERAGENT, "driftline");
  set(CURLOPT_WRITEFUNCTION, &drop);
  set(CURLOPT_ERRORBUFFER, error.data());
  if (const CURLcode code = curl_easy_perform(curl.get()); code != CURLE_OK) return std::string(error[0] != '\0' ? error.data() : curl_easy_strerror(code));
  long status = 0;
  curl_easy_getinfo(curl.get(), CURLINFO_RESPONSE_CODE, &status);
  if (status / 100 == 2) return std::nullopt;
  return "it answers " + std::to_string(status);
}

}  // namespace driftline::messages
