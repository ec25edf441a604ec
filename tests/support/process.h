// A child process that a test starts and ends. Only what was started here is ever signalled.
#pragma once

#include <sys/types.h>

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace driftline::testing {

struct ProcessOptions {
  std::vector<std::string> command;             // the program's path or name, then its arguments
  std::vector<std::string> environment;         // "NAME=value", added to ours
  std::string output_file;                      // both streams; empty: /dev/null
  std::optional<std::uint64_t> file_bytes_max;  // RLIMIT_FSIZE
};

class Process {
 public:
  Process() = default;
  explicit Process(const ProcessOptions& options);
  ~Process();  // kills what still runs
  Process(Process&& other) noexcept;
  Process& operator=(Process&& other) noexcept;

  void signal(int number) const;
  // Exit status, or 128 + signal. Empty: still running after the limit.
  std::optional<int> wait(int limit_s = 60);
  void kill();  // SIGKILL, and waits
  [[nodiscard]] bool running();
  [[nodiscard]] pid_t pid() const { return pid_; }

 private:
  pid_t pid_ = -1;
};

// A TCP port of 127.0.0.1 that was free a moment ago.
[[nodiscard]] std::uint16_t free_port();
// Somebody listens there.
[[nodiscard]] bool listening(std::uint16_t port);

}  // namespace driftline::testing
