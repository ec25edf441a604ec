#include "gateway/app/act_socket.h"

#include <fcntl.h>
#include <poll.h>
#include <sys/eventfd.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <optional>
#include <thread>
#include <utility>

#include "gateway/app/act_desk.h"
#include "gateway/app/run_events.h"
#include "gateway/app/run_limits.h"

namespace driftline {
namespace {

constexpr const char* socket_name = "acts.sock";

class Handle {
 public:
  explicit Handle(int number = -1) : number_(number) {}
  ~Handle() {
    if (number_ >= 0) ::close(number_);
  }
  Handle(Handle&& other) noexcept : number_(std::exchange(other.number_, -1)) {}
  Handle& operator=(Handle&& other) noexcept {
    std::swap(number_, other.number_);
    return *this;
  }
  [[nodiscard]] int number() const { return number_; }
  [[nodiscard]] bool good() const { return number_ >= 0; }

 private:
  int number_;
};

// A socket's path has 107 bytes, a folder's may have more: it is reached through an open handle of the folder.
sockaddr_un address_in(const Handle& folder) {
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  const std::string path = "/proc/self/fd/" + std::to_string(folder.number()) + "/" + socket_name;
  std::strncpy(address.sun_path, path.c_str(), sizeof address.sun_path - 1);
  return address;
}

const sockaddr* plain(const sockaddr_un& address) { return static_cast<const sockaddr*>(static_cast<const void*>(&address)); }

Handle opened(const std::string& folder) { return Handle(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC)); }
Handle made_socket() { return Handle(::socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0)); }

void bound_waiting(const Handle& peer, std::chrono::seconds limit) {
  const timeval time{limit.count(), 0};
  (void)::setsockopt(peer.number(), SOL_SOCKET, SO_RCVTIMEO, &time, sizeof time);
  (void)::setsockopt(peer.number(), SOL_SOCKET, SO_SNDTIMEO, &time, sizeof time);
}

// Up to a line end or the other side's end; empty where neither came in time or it is too long.
std::optional<std::string> read_line(const Handle& peer, std::size_t bytes_max) {
  std::string text;
  char piece[1024];
  while (text.size() <= bytes_max) {
    const ssize_t got = ::recv(peer.number(), piece, sizeof piece, 0);
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) return std::nullopt;
    text.append(piece, static_cast<std::size_t>(got));
    const auto end = text.find('\n');
    if (end != std::string::npos) return text.substr(0, end);
    if (got == 0) return text.empty() ? std::nullopt : std::optional(text);
  }
  return text;
}

bool send_line(const Handle& peer, std::string text) {
  text += '\n';
  for (std::size_t sent = 0; sent < text.size();) {
    const ssize_t count = ::send(peer.number(), text.data() + sent, text.size() - sent, MSG_NOSIGNAL);
    if (count < 0 && errno == EINTR) continue;
    if (count <= 0) return false;
    sent += static_cast<std::size_t>(count);
  }
  return true;
}

std::string failure(const std::string& what) { return what + ": " + std::strerror(errno); }

}  // namespace

struct ActSocket::Body {
  std::string path;
  Handle listener;
  Handle stop;
  Answer answer;
  std::thread thread;

  void serve(const Handle& peer) const {
    bound_waiting(peer, act_socket_wait);
    if (const auto question = read_line(peer, act_bytes_max)) (void)send_line(peer, answer(*question));
  }

  void run() const {
    for (;;) {
      pollfd both[]{{listener.number(), POLLIN, 0}, {stop.number(), POLLIN, 0}};
      if (::poll(both, 2, -1) < 0 && errno != EINTR) return run_events::act_socket_failed(failure("poll"));
      if (both[1].revents != 0) return;
      if (both[0].revents == 0) continue;
      const Handle peer(::accept4(listener.number(), nullptr, nullptr, SOCK_CLOEXEC));
      if (peer.good()) serve(peer);
    }
  }
};

ActSocket::ActSocket(std::unique_ptr<Body> body) : body_(std::move(body)) {
  body_->thread = std::thread([whole = body_.get()] { whole->run(); });
}

ActSocket::~ActSocket() {
  const std::uint64_t one = 1;
  (void)!::write(body_->stop.number(), &one, sizeof one);
  body_->thread.join();
  ::unlink(body_->path.c_str());
}

tl::expected<std::unique_ptr<ActSocket>, std::string> ActSocket::open(const std::string& data_folder, Answer answer) {
  auto body = std::make_unique<Body>();
  body->path = data_folder + "/" + socket_name;
  body->answer = std::move(answer);
  const Handle folder = opened(data_folder);
  body->listener = made_socket();
  body->stop = Handle(::eventfd(0, EFD_CLOEXEC));
  if (!folder.good() || !body->listener.good() || !body->stop.good()) return tl::unexpected(failure(body->path + " cannot be made"));
  ::unlink(body->path.c_str());
  const sockaddr_un address = address_in(folder);
  // Nobody can connect before it listens, and by then it is its owner's alone.
  if (::bind(body->listener.number(), plain(address), sizeof address) != 0 || ::chmod(body->path.c_str(), S_IRUSR | S_IWUSR) != 0 ||
      ::listen(body->listener.number(), act_socket_waiting_max) != 0)
    return tl::unexpected(failure(body->path + " cannot be used"));
  return std::unique_ptr<ActSocket>(new ActSocket(std::move(body)));
}

tl::expected<std::string, NoAnswer> ask_gateway(const std::string& data_folder, std::string_view question) {
  const Handle folder = opened(data_folder);
  const Handle peer = made_socket();
  if (!folder.good() || !peer.good()) return tl::unexpected(NoAnswer::nobody);
  bound_waiting(peer, act_answer_wait);
  const sockaddr_un address = address_in(folder);
  if (::connect(peer.number(), plain(address), sizeof address) != 0)
    return tl::unexpected(errno == EACCES || errno == EPERM ? NoAnswer::refused : NoAnswer::nobody);
  if (!send_line(peer, std::string(question))) return tl::unexpected(NoAnswer::broken);
  const auto answer = read_line(peer, 2 * act_bytes_max);
  if (!answer) return tl::unexpected(NoAnswer::broken);
  return *answer;
}

}  // namespace driftline
