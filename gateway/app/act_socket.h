// The way from the command line to the gateway that runs on a data folder: a local socket in it, `acts.sock`, open to its owner
// alone. Whoever may use it could write the history's file as well. One question (a line of JSON, act_desk.h), one answer, end.
#pragma once

#include <functional>
#include <memory>
#include <string>
#include <string_view>

#include <tl/expected.hpp>

namespace driftline {

class ActSocket {
 public:
  using Answer = std::function<std::string(std::string_view question)>;
  // Listens. The folder's history must be held: a socket that is there belongs to a gateway that has died. An error is a sentence.
  [[nodiscard]] static tl::expected<std::unique_ptr<ActSocket>, std::string> open(const std::string& data_folder, Answer answer);
  ~ActSocket();  // takes the socket away
  ActSocket(const ActSocket&) = delete;
  ActSocket& operator=(const ActSocket&) = delete;

 private:
  struct Body;
  explicit ActSocket(std::unique_ptr<Body> body);
  std::unique_ptr<Body> body_;
};

enum class NoAnswer : std::uint8_t {
  nobody,   // no gateway listens there
  broken,   // it went away before it answered: done or not, nobody knows
  refused,  // the socket is not ours to use
};
[[nodiscard]] tl::expected<std::string, NoAnswer> ask_gateway(const std::string& data_folder, std::string_view question);

}  // namespace driftline
