// Viewers of the page, as many as are asked for, against a running gateway on loopback:
//
//   page_load list PORT VIEWERS SECONDS        each asks for the list of stations once a second: how long the answers take
//   page_load feed PORT VIEWERS SECONDS [PID]  each holds a live feed open, every tenth watching a station: what they get, and what
//                                              each costs the gateway PID (resident memory before and after)
//
//   fleet_history --data D --stations 5000 --turns 2, then driftline run --data D with a page.
#include <arpa/inet.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

namespace {

using Clock = std::chrono::steady_clock;

int connected(int port) {
  const int made = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_in to{};
  to.sin_family = AF_INET;
  to.sin_port = htons(static_cast<std::uint16_t>(port));
  to.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  if (::connect(made, reinterpret_cast<const sockaddr*>(&to), sizeof to) == 0) return made;
  ::close(made);
  return -1;
}

bool send_all(int to, const std::string& text) { return ::send(to, text.data(), text.size(), MSG_NOSIGNAL) == static_cast<ssize_t>(text.size()); }

// One answer with a Content-Length; its bytes, or 0.
std::size_t read_answer(int from, std::string& bytes) {
  bytes.clear();
  std::size_t whole = 0;
  char part[65536];
  while (whole == 0 || bytes.size() < whole) {
    const ssize_t count = ::recv(from, part, sizeof part, 0);
    if (count <= 0) return 0;
    bytes.append(part, static_cast<std::size_t>(count));
    const auto end = bytes.find("\r\n\r\n");
    if (whole == 0 && end != std::string::npos) {
      const auto length = bytes.find("Content-Length: ");
      if (length == std::string::npos || length > end) return 0;
      whole = end + 4 + std::strtoul(bytes.c_str() + length + 16, nullptr, 10);
    }
  }
  return whole;
}

int list(int port, int viewers, int seconds) {
  std::mutex mutex;
  std::vector<double> all_ms;
  std::size_t bytes_of_one = 0;
  int failed = 0;
  const auto end = Clock::now() + std::chrono::seconds{seconds};
  std::vector<std::jthread> threads;
  for (int viewer = 0; viewer < viewers; ++viewer)
    threads.emplace_back([&, viewer] {
      const int to = connected(port);
      std::string bytes;
      std::this_thread::sleep_for(std::chrono::milliseconds{1000 * viewer / viewers});
      while (to >= 0 && Clock::now() < end) {
        const auto began = Clock::now();
        const bool sent = send_all(to, "GET /api/v1/fleet HTTP/1.1\r\nHost: 127.0.0.1\r\nAccept-Encoding: gzip\r\n\r\n");
        const std::size_t got = sent ? read_answer(to, bytes) : 0;
        const double ms = std::chrono::duration<double, std::milli>(Clock::now() - began).count();
        {
          const std::lock_guard guard(mutex);
          if (got == 0) ++failed;
          else all_ms.push_back(ms);
          bytes_of_one = std::max(bytes_of_one, got);
        }
        if (got == 0) break;
        std::this_thread::sleep_until(began + std::chrono::seconds{1});
      }
      if (to < 0) ++failed;
      ::close(to);
    });
  threads.clear();
  if (all_ms.empty()) return std::fputs("no answer came\n", stderr), 1;
  std::sort(all_ms.begin(), all_ms.end());
  const auto at = [&](double share) { return all_ms[static_cast<std::size_t>(share * static_cast<double>(all_ms.size() - 1))]; };
  std::printf("%zu answers of %zu bytes to %d viewers: median %.1f ms, p99 %.1f ms, longest %.1f ms; %d failed\n", all_ms.size(), bytes_of_one, viewers, at(0.5), at(0.99), all_ms.back(),
              failed);
  return 0;
}

long resident_kb(const std::string& pid) {
  std::ifstream file("/proc/" + pid + "/status");
  for (std::string line; std::getline(file, line);)
    if (line.starts_with("VmRSS:")) return std::strtol(line.c_str() + 6, nullptr, 10);
  return 0;
}

int feed(int port, int viewers, int seconds, const std::string& pid) {
  const long before = resident_kb(pid);
  std::vector<pollfd> streams;
  for (int viewer = 0; viewer < viewers; ++viewer) {
    const int to = connected(port);
    const std::string path = viewer % 10 == 0 ? "/api/v1/live?station=northyard/ps-01" : "/api/v1/live";
    if (to < 0 || !send_all(to, "GET " + path + " HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")) return std::fprintf(stderr, "viewer %d was turned away\n", viewer), 1;
    streams.push_back({to, POLLIN, 0});
  }
  std::size_t bytes = 0;
  std::size_t ended = 0;
  char part[65536];
  for (const auto end = Clock::now() + std::chrono::seconds{seconds}; Clock::now() < end;) {
    (void)::poll(streams.data(), streams.size(), 200);
    for (pollfd& stream : streams) {
      if (stream.fd < 0 || (stream.revents & (POLLIN | POLLHUP)) == 0) continue;
      const ssize_t count = ::recv(stream.fd, part, sizeof part, MSG_DONTWAIT);
      if (count > 0) bytes += static_cast<std::size_t>(count);
      if (count == 0) {
        ::close(stream.fd);
        stream.fd = -1;
        ++ended;
      }
    }
  }
  const long after = resident_kb(pid);
  std::printf("%d viewers for %d s: %.1f kB each, %zu ended", viewers, seconds, static_cast<double>(bytes) / 1000 / viewers, ended);
  if (after > 0) std::printf("; the gateway grew by %ld kB, %.1f kB a viewer", after - before, static_cast<double>(after - before) / viewers);
  std::puts("");
  return 0;
}

}  // namespace

int main(int count, char** words) {
  const std::string what = count > 1 ? words[1] : "";
  if (count >= 5 && what == "list") return list(std::atoi(words[2]), std::atoi(words[3]), std::atoi(words[4]));
  if (count >= 5 && what == "feed") return feed(std::atoi(words[2]), std::atoi(words[3]), std::atoi(words[4]), count > 5 ? words[5] : "");
  std::fputs("page_load list|feed PORT VIEWERS SECONDS [PID]\n", stderr);
  return 2;
}
