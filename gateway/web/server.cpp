#include "gateway/web/server.h"

#include <atomic>
#include <deque>
#include <fstream>
#include <map>
#include <optional>
#include <set>
#include <sstream>
#include <thread>

#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ssl.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/beast/core.hpp>
#include <boost/beast/http.hpp>
#include <boost/beast/ssl.hpp>

#include "gateway/web/events.h"
#include "gateway/web/limits.h"
#include "gateway/web/problem.h"

namespace driftline::web {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = beast::http;
using asio::ip::tcp;
using Failure = boost::system::error_code;

namespace {

std::string text_of(beast::string_view text) { return {text.data(), text.size()}; }

Method method_of(http::verb verb) {
  switch (verb) {
    case http::verb::get: return Method::get;
    case http::verb::head: return Method::head;
    case http::verb::post: return Method::post;
    case http::verb::delete_: return Method::del;
    default: return Method::other;
  }
}

std::string plain_address(const asio::ip::address& address) {
  if (address.is_v6() && address.to_v6().is_v4_mapped())
    return asio::ip::make_address_v4(asio::ip::v4_mapped, address.to_v6()).to_string();
  return address.to_string();
}

// The last address that the proxies in front of us did not add themselves: the client's, as far as anybody knows it.
std::string forwarded_for(std::string list, std::string address, const std::set<std::string>& trusted) {
  while (trusted.contains(address) && !list.empty()) {
    const auto comma = list.rfind(',');
    std::string last = comma == std::string::npos ? list : list.substr(comma + 1);
    list = comma == std::string::npos ? std::string{} : list.substr(0, comma);
    last.erase(0, last.find_first_not_of(" \t"));
    last.erase(last.find_last_not_of(" \t") + 1);
    Failure failed;
    const auto parsed = asio::ip::make_address(last, failed);
    if (failed) return address;
    address = plain_address(parsed);
  }
  return address;
}

Answer answer_of(const Problem& problem) {
  Answer answer;
  answer.status = problem.status;
  answer.type = "application/problem+json";
  answer.body = std::make_shared<const std::string>(json_of(problem));
  if (problem.retry_after_s > 0) answer.headers.emplace_back("Retry-After", std::to_string(problem.retry_after_s));
  return answer;
}

using Headers = http::response_header<>;

// Without inline script or style, without foreign hosts, never inside another page.
void set_safe(Headers& header, bool tls) {
  header.set("Content-Security-Policy",
             "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; font-src 'self'; "
             "manifest-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'");
  header.set("X-Content-Type-Options", "nosniff");
  header.set("X-Frame-Options", "DENY");
  header.set("Referrer-Policy", "no-referrer");
  header.set("Cross-Origin-Opener-Policy", "same-origin");
  header.set("Cross-Origin-Resource-Policy", "same-origin");
  header.set("Permissions-Policy", "camera=(), microphone=(), geolocation=(), payment=()");
  if (tls) header.set(http::field::strict_transport_security, "max-age=31536000");
}

void fill(Headers& header, const Answer& answer, std::size_t bytes, bool tls) {
  header.version(11);
  header.result(static_cast<unsigned>(answer.status));
  set_safe(header, tls);
  if (answer.status != 204 && answer.status != 304) {
    header.set(http::field::content_type, answer.type);
    header.set(http::field::content_length, std::to_string(bytes));
    if (answer.gzipped) header.set(http::field::content_encoding, "gzip");
  }
  if (!answer.tag.empty()) header.set(http::field::etag, "\"" + answer.tag + "\"");
  header.set(http::field::cache_control, answer.lasting ? "public, max-age=31536000, immutable" : answer.tag.empty() ? "no-store" : "no-cache");
  if (answer.gzipped) header.set(http::field::vary, "Accept-Encoding");
  for (const auto& [name, value] : answer.headers) header.set(name, value);
}

// Proxies add a line of their own or append to what is there: all lines are one list, in their order.
std::string all_of(const http::fields& header, beast::string_view name) {
  std::string list;
  const auto [first, last] = header.equal_range(name);
  for (auto line = first; line != last; ++line) list.append(list.empty() ? "" : ", ").append(line->value().data(), line->value().size());
  return list;
}

bool has_tag(const std::string& list, const std::string& tag) {
  return list == "*" || list.find("\"" + tag + "\"") != std::string::npos;
}

}  // namespace

// What connections share; on the network's thread, but for what is atomic.
struct Server::Body {
  Body(WebSettings with, Handle handler) : settings(std::move(with)), handle(std::move(handler)) {
    trusted.insert(settings.trusted_proxies.begin(), settings.trusted_proxies.end());
  }

  WebSettings settings;
  Handle handle;
  std::set<std::string> trusted;
  std::map<std::string, int> by_address;   // connections
  std::map<std::string, int> streams_of;   // streams
  std::map<void*, std::function<void()>> closers;  // of each connection
  std::map<std::uint64_t, std::function<void()>> idle;  // those that wait for their next request, longest first: they make room
  std::uint64_t idle_number = 0;
  std::atomic<int> connections{0};
  std::atomic<int> streams{0};
  std::atomic<std::uint64_t> pulse{0};
  std::atomic<bool> stopping{false};
  std::uint16_t port = 0;
  // Behind what connections touch when they end: what is left in the queue ends with it.
  asio::io_context io{1};
  std::optional<asio::ssl::context> tls;
  tcp::acceptor acceptor{io};
  asio::steady_timer accept_again{io};
  std::deque<asio::steady_timer> timers;
  std::thread thread;

  [[nodiscard]] std::optional<std::string> open();
  [[nodiscard]] std::optional<std::string> open_tls();
  [[nodiscard]] bool bounded(const std::string& address) const { return !is_loopback(address) && !trusted.contains(address); }
  void accept();
  void take(tcp::socket socket);
  void run_every(asio::steady_timer& timer, std::chrono::milliseconds spacing, std::shared_ptr<std::function<void()>> work);
};

namespace {

template <typename Stream>
class Connection;

// A stream's end: a queue of shared pieces, one write at a time.
template <typename Stream>
class StreamSink : public Sink, public std::enable_shared_from_this<StreamSink<Stream>> {
 public:
  explicit StreamSink(std::shared_ptr<Connection<Stream>> connection) : connection_(std::move(connection)) {}
  ~StreamSink() override { close(); }
  StreamSink(const StreamSink&) = delete;
  StreamSink& operator=(const StreamSink&) = delete;

  void send(const Bytes& bytes) override {
    if (!connection_) return;
    unsent_ += bytes->size();
    // One piece alone may be larger: the first answer to a watcher.
    if (unsent_ > stream_unsent_bytes_max && !waiting_.empty()) return close();
    waiting_.push_back(bytes);
    if (waiting_.size() == 1) write();
  }
  void close() override {
    if (auto connection = std::exchange(connection_, nullptr)) connection->end();
  }
  [[nodiscard]] bool open() const override { return connection_ != nullptr; }
  [[nodiscard]] std::size_t unsent() const override { return unsent_; }
  void gone() { connection_.reset(); }

 private:
  void write() {
    connection_->write_piece(waiting_.front(), [self = this->shared_from_this()](bool sent) {
      if (!self->connection_) return;
      if (!sent) return self->close();
      self->unsent_ -= self->waiting_.front()->size();
      self->waiting_.pop_front();
      if (!self->waiting_.empty()) self->write();
    });
  }

  std::shared_ptr<Connection<Stream>> connection_;
  std::deque<Bytes> waiting_;
  std::size_t unsent_ = 0;
};

template <typename Stream>
class Connection : public std::enable_shared_from_this<Connection<Stream>> {
 public:
  Connection(Stream stream, Server::Body& body, std::string peer)
      : stream_(std::move(stream)), body_(body), peer_(std::move(peer)) {
    ++body_.connections;
    ++body_.by_address[peer_];
    body_.closers[this] = [this] { end(); };
  }
  ~Connection() {
    body_.closers.erase(this);
    body_.idle.erase(idle_number_);
    if (--body_.by_address[peer_] == 0) body_.by_address.erase(peer_);
    --body_.connections;
    if (streaming_) {
      --body_.streams;
      if (--body_.streams_of[stream_address_] == 0) body_.streams_of.erase(stream_address_);
    }
  }
  Connection(const Connection&) = delete;
  Connection& operator=(const Connection&) = delete;

  void begin() {
    if constexpr (is_tls) {
      layer().expires_after(request_within);
      stream_.async_handshake(asio::ssl::stream_base::server, [self = this->shared_from_this()](Failure failed) {
        if (!failed) self->await_request();
      });
    } else {
      await_request();
    }
  }

  void end() {
    const auto self = this->shared_from_this();
    if (const auto sink = std::exchange(sink_, {}).lock()) sink->gone();
    Failure ignored;
    layer().socket().shutdown(tcp::socket::shutdown_both, ignored);
    layer().close();
  }

  template <typename Then>
  void write_piece(const Bytes& bytes, Then then) {
    layer().expires_after(answer_within);
    asio::async_write(stream_, asio::buffer(*bytes), [self = this->shared_from_this(), bytes, then](Failure failed, std::size_t) {
      self->layer().expires_never();
      then(!failed);
    });
  }

 private:
  static constexpr bool is_tls = !std::is_same_v<Stream, beast::tcp_stream>;
  beast::tcp_stream& layer() {
    if constexpr (is_tls) return beast::get_lowest_layer(stream_);
    else return stream_;
  }

  // The first bytes may be long in coming; from then on the whole request has one deadline.
  void await_request() {
    parser_.emplace();
    parser_->header_limit(header_bytes_max);
    parser_->body_limit(body_bytes_max);
    if (buffer_.size() > 0) return read_request();
    layer().expires_after(idle_for);
    idle_number_ = ++body_.idle_number;
    body_.idle[idle_number_] = [this] { end(); };
    stream_.async_read_some(buffer_.prepare(2048), [self = this->shared_from_this()](Failure failed, std::size_t bytes) {
      self->body_.idle.erase(self->idle_number_);
      if (failed) return;
      self->buffer_.commit(bytes);
      self->read_request();
    });
  }

  void read_request() {
    layer().expires_after(request_within);
    http::async_read(stream_, buffer_, *parser_, [self = this->shared_from_this()](Failure failed, std::size_t) {
      if (failed) self->refuse(failed);
      else self->hand_over();
    });
  }

  void refuse(Failure failed) {
    if (failed == http::error::end_of_stream || failed == asio::error::eof || failed == asio::error::operation_aborted ||
        failed == asio::error::connection_reset || failed == http::error::partial_message || failed == asio::ssl::error::stream_truncated)
      return;
    Problem problem{400, "it is not HTTP/1.1 as it should be: " + failed.message(), "request", "a well-formed request", 0};
    if (failed == beast::error::timeout) return;  // the socket is closed already
    if (failed == http::error::body_limit) problem = {413, "the body is too large", "body", "at most " + std::to_string(body_bytes_max) + " bytes", 0};
    if (failed == http::error::header_limit) problem = {431, "the header is too large", "header", "at most " + std::to_string(header_bytes_max) + " bytes", 0};
    refuse_as(problem);
  }
  void refuse_as(const Problem& problem) {
    keep_ = false;
    head_only_ = false;
    events::refused(problem.status, peer_);
    write(answer_of(problem));
  }

  void hand_over() {
    auto message = parser_->release();
    if (message.count(http::field::host) > 1) return refuse_as({400, "two hosts are named", "header Host", "one", 0});
    Request request;
    request.method = method_of(message.method());
    request.target = text_of(message.target());
    request.address = peer_;
    request.over_tls = is_tls;
    if (body_.trusted.contains(peer_)) {
      request.address = forwarded_for(all_of(message, "X-Forwarded-For"), peer_, body_.trusted);
      request.over_tls = is_tls || message["X-Forwarded-Proto"] == "https";
    }
    request.host = text_of(message[http::field::host]);
    request.origin = text_of(message[http::field::origin]);
    request.content_type = text_of(message[http::field::content_type]);
    request.cookie = text_of(message[http::field::cookie]);
    request.token = text_of(message["X-Driftline-Token"]);
    request.if_none_match = text_of(message[http::field::if_none_match]);
    request.accept_encoding = text_of(message[http::field::accept_encoding]);
    request.last_event_id = text_of(message["Last-Event-ID"]);
    request.fetch_site = text_of(message["Sec-Fetch-Site"]);
    request.body = std::move(message.body());
    keep_ = message.keep_alive();
    head_only_ = request.method == Method::head;
    client_ = request.address;
    secure_ = request.over_tls;
    if_none_match_ = request.if_none_match;
    layer().expires_never();
    // Whichever thread has the answer, the answer and the end of this belong to ours.
    const std::shared_ptr<Connection> held(this, [self = this->shared_from_this()](Connection*) mutable {
      auto& io = self->body_.io;
      asio::post(io, [last = std::move(self)] {});
    });
    body_.handle(std::move(request), [held](Answer answer) {
      asio::post(held->body_.io, [self = held->shared_from_this(), answer = std::move(answer)]() mutable { self->answer(std::move(answer)); });
    });
  }

  void answer(Answer answer) {
    if (!layer().socket().is_open()) return;
    if (answer.stream && head_only_) {
      answer.stream = nullptr;
      answer.type = "text/event-stream";
    }
    if (answer.stream) return open_stream(std::move(answer));
    if (answer.status == 200 && !answer.tag.empty() && has_tag(if_none_match_, answer.tag)) {
      answer.status = 304;
      answer.body.reset();
      answer.fixed = {};
    }
    write(std::move(answer));
  }

  void write(Answer answer) {
    answer_ = std::move(answer);
    const std::string_view bytes = answer_.body ? std::string_view(*answer_.body) : answer_.fixed;
    response_.emplace();
    fill(*response_, answer_, bytes.size(), secure_);
    response_->keep_alive(keep_);
    response_->body() = http::span_body<const char>::value_type(bytes.data(), head_only_ ? 0 : bytes.size());
    serializer_.emplace(*response_);
    layer().expires_after(answer_within);
    const auto written = [self = this->shared_from_this()](Failure failed, std::size_t) {
      self->serializer_.reset();
      self->response_.reset();
      self->answer_ = {};
      if (failed) return self->end();
      if (self->keep_) return self->await_request();
      self->linger();
    };
    if (head_only_ || bytes.empty()) http::async_write_header(stream_, *serializer_, written);
    else http::async_write(stream_, *serializer_, written);
  }

  // Says the end and hears the client out for a moment, so that it can read the answer.
  void linger() {
    Failure ignored;
    layer().socket().shutdown(tcp::socket::shutdown_send, ignored);
    layer().expires_after(linger_for);
    drain();
  }
  void drain() {
    layer().async_read_some(asio::buffer(drained_), [self = this->shared_from_this()](Failure failed, std::size_t bytes) {
      self->drained_bytes_ += bytes;
      if (failed || self->drained_bytes_ > 4 * body_bytes_max) return self->end();
      self->drain();
    });
  }

  void open_stream(Answer answer) {
    if (body_.streams >= streams_max || (body_.bounded(client_) && body_.streams_of[client_] >= streams_per_address_max)) {
      Problem problem{body_.streams >= streams_max ? 503 : 429, "too many live feeds are open", "", "close one, or come again later", 30};
      return write(answer_of(problem));
    }
    streaming_ = true;
    stream_address_ = client_;
    ++body_.streams;
    ++body_.streams_of[client_];
    Failure ignored;
    layer().socket().set_option(asio::socket_base::send_buffer_size(stream_send_buffer_bytes), ignored);
    layer().socket().set_option(tcp::no_delay(true), ignored);
    Headers header;
    header.version(11);
    header.result(200U);
    set_safe(header, secure_);
    header.set(http::field::content_type, "text/event-stream");
    header.set(http::field::cache_control, "no-store");
    header.set("X-Accel-Buffering", "no");
    header.set(http::field::connection, "close");
    std::ostringstream text;
    text << header;
    write_piece(std::make_shared<const std::string>(text.str()), [self = this->shared_from_this(), begin = std::move(answer.stream)](bool sent) {
      if (!sent) return;
      buffer_free(self->buffer_);
      self->parser_.reset();
      self->hear_the_end();
      const auto sink = std::make_shared<StreamSink<Stream>>(self);
      self->sink_ = sink;
      begin(sink);
    });
  }
  static void buffer_free(beast::flat_buffer& buffer) { buffer = beast::flat_buffer(); }
  // A viewer says nothing more; an end of its side is seen at once and not only at the next write.
  void hear_the_end() {
    stream_.async_read_some(asio::buffer(drained_), [self = this->shared_from_this()](Failure failed, std::size_t) {
      if (failed) return self->end();
      self->hear_the_end();
    });
  }

  Stream stream_;
  Server::Body& body_;
  const std::string peer_;
  beast::flat_buffer buffer_;
  std::optional<http::request_parser<http::string_body>> parser_;
  std::optional<http::response<http::span_body<const char>>> response_;
  std::optional<http::response_serializer<http::span_body<const char>>> serializer_;
  Answer answer_;
  std::weak_ptr<StreamSink<Stream>> sink_;
  std::string client_, if_none_match_, stream_address_;
  std::array<char, 512> drained_{};
  std::size_t drained_bytes_ = 0;
  std::uint64_t idle_number_ = 0;
  bool keep_ = false, head_only_ = false, secure_ = false, streaming_ = false;
};

}  // namespace

std::optional<std::string> Server::Body::open_tls() {
  if (!settings.tls) return std::nullopt;
  Failure failed;
  tls.emplace(asio::ssl::context::tls_server);
  tls->set_options(asio::ssl::context::default_workarounds | asio::ssl::context::no_tlsv1 | asio::ssl::context::no_tlsv1_1);
  SSL_CTX_set_mode(tls->native_handle(), SSL_MODE_RELEASE_BUFFERS);
  tls->use_certificate_chain_file(settings.tls->certificate_file, failed);
  if (failed) return "the certificate " + settings.tls->certificate_file + " cannot be used: " + failed.message();
  tls->use_private_key_file(settings.tls->key_file, asio::ssl::context::pem, failed);
  if (failed) return "the key " + settings.tls->key_file + " cannot be used: " + failed.message();
  if (SSL_CTX_check_private_key(tls->native_handle()) != 1) return "the key " + settings.tls->key_file + " is not that of the certificate";
  return std::nullopt;
}

std::optional<std::string> Server::Body::open() {
  if (auto why = open_tls()) return why;
  Failure failed;
  const auto address = asio::ip::make_address(settings.address, failed);
  if (failed) return "\"" + settings.address + "\" is no address to listen on";
  const tcp::endpoint endpoint(address, settings.port);
  acceptor.open(endpoint.protocol(), failed);
  if (!failed) acceptor.set_option(asio::socket_base::reuse_address(true), failed);
  if (!failed) acceptor.bind(endpoint, failed);
  if (!failed) acceptor.listen(asio::socket_base::max_listen_connections, failed);
  if (failed) return "the page cannot listen on " + settings.address + " port " + std::to_string(settings.port) + ": " + failed.message();
  port = acceptor.local_endpoint(failed).port();
  accept();
  return std::nullopt;
}

void Server::Body::accept() {
  acceptor.async_accept([this](Failure failed, tcp::socket socket) {
    if (failed == asio::error::operation_aborted || stopping) return;
    if (!failed) {
      take(std::move(socket));
      return accept();
    }
    // No descriptor is left, or the like: a pause, or it would come back at once.
    accept_again.expires_after(std::chrono::milliseconds{200});
    accept_again.async_wait([this](Failure stopped) {
      if (!stopped) accept();
    });
  });
}

void Server::Body::take(tcp::socket socket) {
  Failure failed;
  const auto endpoint = socket.remote_endpoint(failed);
  if (failed) return;
  const std::string peer = plain_address(endpoint.address());
  const auto known = by_address.find(peer);
  // Whoever only holds a connection open keeps nobody out: the one that has waited longest makes room.
  bool room = connections < connections_max;
  if (!room && !idle.empty() && connections < connections_max + connections_closing_max) {
    const auto longest = idle.begin()->second;
    idle.erase(idle.begin());
    longest();
    room = true;
  }
  if (!room || (bounded(peer) && known != by_address.end() && known->second >= connections_per_address_max)) {
    events::turned_away(peer);
    return;  // closed by the destructor
  }
  socket.set_option(tcp::no_delay(true), failed);
  if (tls)
    std::make_shared<Connection<beast::ssl_stream<beast::tcp_stream>>>(beast::ssl_stream<beast::tcp_stream>(beast::tcp_stream(std::move(socket)), *tls), *this, peer)->begin();
  else
    std::make_shared<Connection<beast::tcp_stream>>(beast::tcp_stream(std::move(socket)), *this, peer)->begin();
}

void Server::Body::run_every(asio::steady_timer& timer, std::chrono::milliseconds spacing, std::shared_ptr<std::function<void()>> work) {
  timer.expires_after(spacing);
  timer.async_wait([this, &timer, spacing, work](Failure stopped) {
    if (stopped || stopping) return;
    (*work)();
    run_every(timer, spacing, work);
  });
}

tl::expected<std::unique_ptr<Server>, std::string> Server::open(const WebSettings& settings, Handle handle) {
  auto body = std::make_unique<Body>(settings, std::move(handle));
  if (auto why = body->open()) return tl::unexpected(*why);
  return std::unique_ptr<Server>(new Server(std::move(body)));
}

Server::Server(std::unique_ptr<Body> body) : body_(std::move(body)) {
  every(std::chrono::milliseconds{500}, [this] { ++body_->pulse; });
}

Server::~Server() { stop(); }

void Server::start() {
  if (!body_->thread.joinable()) body_->thread = std::thread([this] { body_->io.run(); });
}

void Server::stop() {
  if (body_->stopping.exchange(true)) return;
  asio::post(body_->io, [this] {
    Failure ignored;
    body_->acceptor.close(ignored);
    body_->accept_again.cancel();
    for (auto& timer : body_->timers) timer.cancel();
    const auto closers = body_->closers;
    for (const auto& [connection, close] : closers) close();
  });
  if (body_->thread.joinable()) body_->thread.join();
}

std::uint16_t Server::port() const { return body_->port; }
ServerCounts Server::counts() const { return {body_->connections, body_->streams}; }
std::uint64_t Server::pulse() const { return body_->pulse; }

void Server::post(std::function<void()> work) {
  asio::post(body_->io, [this, work = std::move(work)] {
    if (!body_->stopping) work();
  });
}

void Server::every(std::chrono::milliseconds spacing, std::function<void()> work) {
  auto& timer = body_->timers.emplace_back(body_->io);
  body_->run_every(timer, spacing, std::make_shared<std::function<void()>>(std::move(work)));
}

}  // namespace driftline::web
