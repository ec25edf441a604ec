// The sockets of this process that are connected to a given port, found through /proc/self/fd. Needed because
// Paho does not show its own: see Link::sever.
#pragma once

#include <cstdint>
#include <vector>

namespace driftline::broker {

struct SocketMark {
  int fd = -1;
  std::uint64_t inode = 0;  // tells a socket from a later one that got the same number
  bool operator==(const SocketMark&) const = default;
};

[[nodiscard]] std::vector<SocketMark> sockets_connected_to(std::uint16_t port);

// Ends both directions; the descriptor stays its owner's to close. Marks that are stale are left alone.
void shut_down(const std::vector<SocketMark>& marks);

}  // namespace driftline::broker
