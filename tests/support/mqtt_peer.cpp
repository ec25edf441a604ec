#include "tests/support/mqtt_peer.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <stdexcept>

namespace driftline::testing {
namespace {

// MQTT 3.1.1: 1.5.3 strings, 2.2.3 remaining length.
std::string text(std::string_view s) {
  std::string out{static_cast<char>(s.size() >> 8), static_cast<char>(s.size() & 0xff)};
  return out.append(s);
}
std::string number(std::uint16_t n) {
  return {static_cast<char>(n >> 8), static_cast<char>(n & 0xff)};
}
void append_packet(std::string& out, std::uint8_t head, std::string_view body) {
  out += static_cast<char>(head);
  std::size_t length = body.size();
  do {
    const auto low = static_cast<std::uint8_t>(length % 128);
    length /= 128;
    out += static_cast<char>(length > 0 ? low | 0x80 : low);
  } while (length > 0);
  out.append(body);
}
std::uint16_t number_at(std::string_view s, std::size_t at) {
  return static_cast<std::uint16_t>(static_cast<std::uint8_t>(s[at]) << 8 |
                                    static_cast<std::uint8_t>(s[at + 1]));
}
constexpr int answer_limit_ms = 60'000;

}  // namespace

MqttPeer::MqttPeer(std::uint16_t port, const std::string& client_id, bool clean) {
  fd_ = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_port = htons(port);
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  void* bytes = &address;
  if (connect(fd_, static_cast<sockaddr*>(bytes), sizeof(address)) != 0)
    throw std::runtime_error("peer: connect");
  const int on = 1;
  setsockopt(fd_, IPPROTO_TCP, TCP_NODELAY, &on, sizeof(on));
  std::string body = text("MQTT");
  body += '\4';
  body += clean ? '\2' : '\0';
  body += number(0) + text(client_id);
  append_packet(out_, 0x10, body);
  send_held();
  answered_ = false;
  while (!answered_) {
    std::uint8_t head = 0;
    std::string answer;
    if (!packet(answer_limit_ms, head, answer)) throw std::runtime_error("peer: no CONNACK");
    if (head == 0x20 && answer.at(1) != 0) throw std::runtime_error("peer: refused");
    handle(head, answer);
  }
}

MqttPeer::~MqttPeer() {
  const std::string bye{'\xe0', '\0'};
  (void)!::send(fd_, bye.data(), bye.size(), MSG_NOSIGNAL);
  close(fd_);
}

void MqttPeer::subscribe(const std::string& filter) {
  append_packet(out_, 0x82, number(++id_) + text(filter) + '\1');
  send_held();
  answered_ = false;
  while (!answered_) {
    std::uint8_t head = 0;
    std::string body;
    if (!packet(answer_limit_ms, head, body)) throw std::runtime_error("peer: no SUBACK");
    handle(head, body);
  }
}

void MqttPeer::publish(std::string_view topic, std::string_view payload, bool retained) {
  if (++id_ == 0) id_ = 1;
  std::string body = text(topic) + number(id_);
  body.append(payload);
  append_packet(out_, retained ? 0x33 : 0x32, body);
  ++unacknowledged_;
  if (out_.size() > 32'768) send_held();
  while (unacknowledged_ >= window) {
    send_held();
    std::uint8_t head = 0;
    std::string answer;
    if (!packet(answer_limit_ms, head, answer)) throw std::runtime_error("peer: no PUBACK");
    handle(head, answer);
  }
}

void MqttPeer::flush() {
  send_held();
  while (unacknowledged_ > 0) {
    std::uint8_t head = 0;
    std::string answer;
    if (!packet(answer_limit_ms, head, answer)) throw std::runtime_error("peer: no PUBACK");
    handle(head, answer);
  }
}

std::optional<PeerMessage> MqttPeer::next(int limit_ms) {
  while (read_ == arrived_.size()) {
    arrived_.clear();
    read_ = 0;
    send_held();
    std::uint8_t head = 0;
    std::string body;
    if (!packet(limit_ms, head, body)) return std::nullopt;
    handle(head, body);
  }
  return arrived_[read_++];
}

void MqttPeer::handle(std::uint8_t head, const std::string& body) {
  const int type = head >> 4;
  if (type == 2 || type == 9) answered_ = true;  // CONNACK, SUBACK
  if (type == 4) --unacknowledged_;              // PUBACK
  if (type != 3) return;
  const std::size_t topic_bytes = number_at(body, 0);
  std::size_t at = 2 + topic_bytes;
  if (((head >> 1) & 3) > 0) {
    append_packet(out_, 0x40, number(number_at(body, at)));
    at += 2;
  }
  arrived_.push_back({body.substr(2, topic_bytes), body.substr(at), (head & 1) != 0});
}

bool MqttPeer::fill(int limit_ms) {
  pollfd wait{fd_, POLLIN, 0};
  if (poll(&wait, 1, limit_ms) <= 0) return false;
  char buffer[65'536];
  const ssize_t n = recv(fd_, buffer, sizeof(buffer), 0);
  if (n <= 0) return false;
  in_.append(buffer, static_cast<std::size_t>(n));
  return true;
}

bool MqttPeer::packet(int limit_ms, std::uint8_t& head, std::string& body) {
  for (;;) {
    std::size_t length = 0, at = 1;
    bool whole = false;
    for (std::size_t scale = 1; at < in_.size() && at < 5; scale *= 128) {
      const auto byte = static_cast<std::uint8_t>(in_[at++]);
      length += (byte & 0x7f) * scale;
      if ((byte & 0x80) == 0) {
        whole = true;
        break;
      }
    }
    if (whole && in_.size() >= at + length) {
      head = static_cast<std::uint8_t>(in_[0]);
      body = in_.substr(at, length);
      in_.erase(0, at + length);
      return true;
    }
    if (!fill(limit_ms)) return false;
  }
}

void MqttPeer::send_all(std::string_view bytes) {
  while (!bytes.empty()) {
    const ssize_t n = ::send(fd_, bytes.data(), bytes.size(), MSG_NOSIGNAL);
    if (n <= 0) throw std::runtime_error("peer: connection lost");
    bytes.remove_prefix(static_cast<std::size_t>(n));
  }
}

void MqttPeer::send_held() {
  send_all(out_);
  out_.clear();
}

}  // namespace driftline::testing
