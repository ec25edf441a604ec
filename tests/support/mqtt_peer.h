// The other end of the line: a small MQTT 3.1.1 client, written from the standard and not from the library
// that the gateway uses, so that both cannot be wrong together. QoS 1 only, blocking, loopback, one thread.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace driftline::testing {

struct PeerMessage {
  std::string topic;
  std::string payload;
  bool retained = false;
  bool operator==(const PeerMessage&) const = default;
};

class MqttPeer {
 public:
  // Throws when it cannot connect. `clean`: no session is kept.
  MqttPeer(std::uint16_t port, const std::string& client_id, bool clean = true);
  ~MqttPeer();
  MqttPeer(const MqttPeer&) = delete;
  MqttPeer& operator=(const MqttPeer&) = delete;

  void subscribe(const std::string& filter);
  // Sends; `flush` sees to it that all were acknowledged. Keeps at most `window` unacknowledged.
  void publish(std::string_view topic, std::string_view payload, bool retained = false);
  void flush();
  // The next message, acknowledged; empty after `limit_ms` without one.
  std::optional<PeerMessage> next(int limit_ms = 10'000);
  // All until a message satisfies `last` (included) or none comes for `limit_ms`.
  template <class Last>
  std::vector<PeerMessage> until(Last last, int limit_ms = 20'000) {
    std::vector<PeerMessage> all;
    while (auto message = next(limit_ms)) {
      all.push_back(*message);
      if (last(all.back())) break;
    }
    return all;
  }

  static constexpr std::size_t window = 500;

 private:
  bool fill(int limit_ms);
  bool packet(int limit_ms, std::uint8_t& head, std::string& body);
  void handle(std::uint8_t head, const std::string& body);
  void send_all(std::string_view bytes);
  void send_held();

  int fd_ = -1;
  std::string in_;
  std::string out_;
  std::uint16_t id_ = 0;
  std::size_t unacknowledged_ = 0;
  bool answered_ = false;
  std::vector<PeerMessage> arrived_;
  std::size_t read_ = 0;
};

}  // namespace driftline::testing
