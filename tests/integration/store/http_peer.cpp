#include "tests/integration/store/http_peer.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>
#include <zlib.h>

#include <cstdlib>

namespace driftline::testing {
namespace {

sockaddr_in loopback(std::uint16_t port) {
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_port = htons(port);
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  return address;
}

sockaddr* as_sockaddr(sockaddr_in& address) { return reinterpret_cast<sockaddr*>(&address); }  // NOLINT: the API's way

void send_all(int socket, const std::string& bytes) {
  for (std::size_t sent = 0; sent < bytes.size();) {
    const ssize_t n = ::send(socket, bytes.data() + sent, bytes.size() - sent, MSG_NOSIGNAL);
    if (n <= 0) return;
    sent += static_cast<std::size_t>(n);
  }
}

bool receive(int socket, std::string& into, int limit_ms) {
  pollfd wait{socket, POLLIN, 0};
  if (::poll(&wait, 1, limit_ms) <= 0) return false;
  char bytes[65536];
  const ssize_t n = ::recv(socket, bytes, sizeof bytes, 0);
  if (n <= 0) return false;
  into.append(bytes, static_cast<std::size_t>(n));
  return true;
}

std::string unchunked(std::string_view bytes) {
  std::string out;
  while (!bytes.empty()) {
    const auto size = static_cast<std::size_t>(std::strtoul(std::string(bytes.substr(0, 10)).c_str(), nullptr, 16));
    const std::size_t begin = bytes.find("\r\n");
    if (size == 0 || begin == std::string_view::npos) break;
    out += bytes.substr(begin + 2, size);
    bytes.remove_prefix(std::min(bytes.size(), begin + 2 + size + 2));
  }
  return out;
}

std::string unzipped(const std::string& bytes) {
  if (!bytes.starts_with("\x1F\x8B")) return bytes;
  z_stream stream{};
  if (inflateInit2(&stream, MAX_WBITS + 16) != Z_OK) return {};
  std::string in = bytes;
  std::string out(64U << 20, '\0');
  stream.next_in = reinterpret_cast<Bytef*>(in.data());    // NOLINT: zlib's type
  stream.avail_in = static_cast<uInt>(in.size());
  stream.next_out = reinterpret_cast<Bytef*>(out.data());  // NOLINT: zlib's type
  stream.avail_out = static_cast<uInt>(out.size());
  inflate(&stream, Z_FINISH);
  out.resize(stream.total_out);
  inflateEnd(&stream);
  return out;
}

std::size_t content_length(const std::string& head) {
  const std::size_t at = head.find("Content-Length: ");
  return at == std::string::npos ? 0 : static_cast<std::size_t>(std::atol(head.c_str() + at + 16));
}

}  // namespace

HttpReply http_request(std::uint16_t port, const std::string& method, const std::string& target,
                       const std::string& body, const std::string& headers) {
  const int socket = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_in address = loopback(port);
  HttpReply reply;
  if (::connect(socket, as_sockaddr(address), sizeof address) == 0) {
    send_all(socket, method + " " + target + " HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n" + headers +
                         "Content-Length: " + std::to_string(body.size()) + "\r\n\r\n" + body);
    std::string bytes;
    while (receive(socket, bytes, 20'000)) {
    }
    const std::size_t end = bytes.find("\r\n\r\n");
    if (end != std::string::npos && bytes.size() > 12) {
      reply.status = std::atoi(bytes.c_str() + 9);
      const std::string head = bytes.substr(0, end);
      reply.body = bytes.substr(end + 4);
      if (head.find("chunked") != std::string::npos) reply.body = unchunked(reply.body);
    }
  }
  ::close(socket);
  return reply;
}

std::string url_escaped(const std::string& text) {
  static constexpr char hex[] = "0123456789ABCDEF";
  std::string out;
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (std::isalnum(byte) != 0)
      out += c;
    else
      out.append("%").append(1, hex[byte >> 4]).append(1, hex[byte & 15]);
  }
  return out;
}

StubServer::StubServer(Respond respond) : respond_(std::move(respond)) {
  listener_ = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_in address = loopback(0);
  socklen_t size = sizeof address;
  ::bind(listener_, as_sockaddr(address), size);
  ::listen(listener_, 16);
  ::getsockname(listener_, as_sockaddr(address), &size);
  port_ = ntohs(address.sin_port);
  thread_ = std::thread([this] { serve(); });
}

StubServer::~StubServer() {
  stopping_ = true;
  thread_.join();
  ::close(listener_);
}

std::vector<HttpSeen> StubServer::seen() const {
  const std::lock_guard guard(mutex_);
  return seen_;
}

void StubServer::serve() {
  while (!stopping_) {
    pollfd wait{listener_, POLLIN, 0};
    if (::poll(&wait, 1, 20) <= 0) continue;
    const int socket = ::accept4(listener_, nullptr, nullptr, SOCK_CLOEXEC);
    std::string bytes;
    HttpSeen request;
    while (receive(socket, bytes, 2'000)) {
      const std::size_t end = bytes.find("\r\n\r\n");
      if (end == std::string::npos) continue;
      request.head = bytes.substr(0, end);
      if (bytes.size() < end + 4 + content_length(request.head)) continue;
      request.body = unzipped(bytes.substr(end + 4));
      break;
    }
    {
      const std::lock_guard guard(mutex_);
      seen_.push_back(request);
    }
    send_all(socket, respond_(request));
    ::close(socket);
  }
}

}  // namespace driftline::testing
