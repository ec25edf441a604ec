#include "gateway/broker/sockets.h"

#include <arpa/inet.h>
#include <dirent.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <sys/stat.h>

#include <cstdlib>
#include <cstring>
#include <memory>
#include <optional>

namespace driftline::broker {
namespace {

std::optional<std::uint64_t> socket_inode(int fd) {
  struct stat status {};
  if (fstat(fd, &status) != 0 || !S_ISSOCK(status.st_mode)) return std::nullopt;
  return status.st_ino;
}

std::uint16_t peer_port(int fd) {
  sockaddr_storage address{};
  socklen_t length = sizeof(address);
  void* bytes = &address;
  if (getpeername(fd, static_cast<sockaddr*>(bytes), &length) != 0) return 0;
  if (address.ss_family == AF_INET) return ntohs(static_cast<sockaddr_in*>(bytes)->sin_port);
  if (address.ss_family == AF_INET6) return ntohs(static_cast<sockaddr_in6*>(bytes)->sin6_port);
  return 0;
}

}  // namespace

std::vector<SocketMark> sockets_connected_to(std::uint16_t port) {
  std::vector<SocketMark> found;
  const auto close_folder = [](DIR* folder) { closedir(folder); };
  const std::unique_ptr<DIR, decltype(close_folder)> folder(opendir("/proc/self/fd"), close_folder);
  if (!folder) return found;
  while (const dirent* entry = readdir(folder.get())) {
    char* end = nullptr;
    const long fd = std::strtol(entry->d_name, &end, 10);
    if (end == entry->d_name || *end != '\0') continue;
    const auto inode = socket_inode(static_cast<int>(fd));
    if (inode && peer_port(static_cast<int>(fd)) == port) found.push_back({static_cast<int>(fd), *inode});
  }
  return found;
}

void shut_down(const std::vector<SocketMark>& marks) {
  for (const SocketMark& mark : marks) {
    if (socket_inode(mark.fd) == mark.inode) ::shutdown(mark.fd, SHUT_RDWR);
  }
}

}  // namespace driftline::broker
