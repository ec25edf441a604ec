#include "tests/integration/web/raw_client.h"

#include <arpa/inet.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <cctype>

namespace driftline::testing {

RawClient::RawClient(int port) : socket_(::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
  sockaddr_in to{};
  to.sin_family = AF_INET;
  to.sin_port = htons(static_cast<std::uint16_t>(port));
  to.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  if (::connect(socket_, reinterpret_cast<const sockaddr*>(&to), sizeof to) != 0) ended_ = true;
}

RawClient::~RawClient() { ::close(socket_); }

bool RawClient::send(const std::string& bytes) {
  std::size_t sent = 0;
  while (sent < bytes.size()) {
    const ssize_t count = ::send(socket_, bytes.data() + sent, bytes.size() - sent, MSG_NOSIGNAL);
    if (count <= 0) return false;
    sent += static_cast<std::size_t>(count);
  }
  return true;
}

bool RawClient::more(std::chrono::steady_clock::time_point until) {
  const auto left = std::chrono::duration_cast<std::chrono::milliseconds>(until - std::chrono::steady_clock::now()).count();
  pollfd waiting{socket_, POLLIN, 0};
  if (ended_ || left <= 0 || ::poll(&waiting, 1, static_cast<int>(left)) <= 0) return false;
  char bytes[65536];
  const ssize_t count = ::recv(socket_, bytes, sizeof bytes, 0);
  if (count <= 0) {
    ended_ = true;
    return false;
  }
  come_.append(bytes, static_cast<std::size_t>(count));
  return true;
}

std::string RawClient::until(const std::string& text, std::chrono::seconds within) {
  const auto end = std::chrono::steady_clock::now() + within;
  while (come_.find(text) == std::string::npos && more(end)) {
  }
  const auto at = come_.find(text);
  const std::size_t size = at == std::string::npos ? come_.size() : at + text.size();
  std::string taken = come_.substr(0, size);
  come_.erase(0, size);
  return taken;
}

bool RawClient::closed(std::chrono::seconds within) {
  const auto end = std::chrono::steady_clock::now() + within;
  while (more(end)) {
  }
  return ended_;
}

std::optional<RawAnswer> RawClient::answer(std::chrono::seconds within, bool head_only) {
  const std::string head = until("\r\n\r\n", within);
  if (!head.ends_with("\r\n\r\n")) return std::nullopt;
  RawAnswer answer;
  answer.status = std::stoi(head.substr(9, 3));
  for (std::size_t at = head.find("\r\n") + 2; at + 2 < head.size();) {
    const std::size_t end = head.find("\r\n", at);
    const std::string line = head.substr(at, end - at);
    const std::size_t colon = line.find(": ");
    std::string name = line.substr(0, colon);
    std::transform(name.begin(), name.end(), name.begin(), [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
    if (colon != std::string::npos) answer.headers[name] = line.substr(colon + 2);
    at = end + 2;
  }
  const auto length = answer.headers.find("content-length");
  if (head_only || length == answer.headers.end()) return answer;
  const std::size_t bytes = std::stoul(length->second);
  const auto end = std::chrono::steady_clock::now() + within;
  while (come_.size() < bytes && more(end)) {
  }
  answer.body = come_.substr(0, bytes);
  come_.erase(0, bytes);
  return answer;
}

std::string request_text(const std::string& method, const std::string& path, const std::string& headers, const std::string& body) {
  std::string text = method + " " + path + " HTTP/1.1\r\nHost: 127.0.0.1\r\n" + headers;
  if (!body.empty()) text += "Content-Type: application/json\r\nContent-Length: " + std::to_string(body.size()) + "\r\n";
  return text + "\r\n" + body;
}

RawAnswer ask(int port, const std::string& text, bool head_only) {
  RawClient client(port);
  if (!client.send(text)) return {};
  return client.answer(std::chrono::seconds{20}, head_only).value_or(RawAnswer{});
}

}  // namespace driftline::testing
