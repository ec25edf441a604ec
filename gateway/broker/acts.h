// Questions that come by MQTT and their answers: what people do to warnings from elsewhere than the page.
//
// Subscribes to acts_topic() under a client of its own ("<client id>-acts", nothing kept at the broker: an act that was asked
// for while the gateway was away must not be done hours later). A question is acknowledged when it has been read and done by a
// thread of its own, in order; its answer goes to answers_topic(), at least once. Who got no answer asks again under the same
// id. Over acts_waiting_max waiting questions further ones are dropped, counted and said. Who may ask is the broker's to know.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <string_view>

#include "gateway/broker/settings.h"

namespace driftline::broker {

class Acts {
 public:
  // Called by one thread; may wait for the disk. A question longer than `bytes_max` comes cut to one byte over it.
  using Answer = std::function<std::string(std::string_view question)>;

  Acts(BrokerSettings settings, std::size_t bytes_max, Answer answer);
  ~Acts();  // as stop()
  Acts(const Acts&) = delete;
  Acts& operator=(const Acts&) = delete;

  void start();
  void stop();  // what waits is not done
  [[nodiscard]] bool connected() const;
  [[nodiscard]] std::uint64_t pulse() const;

 private:
  struct Body;
  std::unique_ptr<Body> body_;
};

}  // namespace driftline::broker
