#include "tests/support/process.h"

#include <arpa/inet.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <csignal>
#include <stdexcept>
#include <thread>
#include <utility>

namespace driftline::testing {
namespace {

[[noreturn]] void become(const ProcessOptions& options, std::vector<char*>& arguments) {
  prctl(PR_SET_PDEATHSIG, SIGKILL);  // a test that crashes leaves nothing behind
  const char* out = options.output_file.empty() ? "/dev/null" : options.output_file.c_str();
  const int fd = open(out, O_WRONLY | O_CREAT | O_APPEND, 0644);
  dup2(fd, STDOUT_FILENO);
  dup2(fd, STDERR_FILENO);
  for (const std::string& variable : options.environment) putenv(const_cast<char*>(variable.c_str()));
  if (options.file_bytes_max) {
    const rlimit limit{*options.file_bytes_max, *options.file_bytes_max};
    setrlimit(RLIMIT_FSIZE, &limit);
  }
  execvp(arguments[0], arguments.data());
  _exit(127);
}

sockaddr_in loopback(std::uint16_t port) {
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_port = htons(port);
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  return address;
}

}  // namespace

Process::Process(const ProcessOptions& options) {
  std::vector<char*> arguments;
  for (const std::string& part : options.command) arguments.push_back(const_cast<char*>(part.c_str()));
  arguments.push_back(nullptr);
  pid_ = fork();
  if (pid_ < 0) throw std::runtime_error("fork");
  if (pid_ == 0) become(options, arguments);
}

Process::~Process() {
  kill();
}

Process::Process(Process&& other) noexcept : pid_(std::exchange(other.pid_, -1)) {}

Process& Process::operator=(Process&& other) noexcept {
  if (this != &other) {
    kill();
    pid_ = std::exchange(other.pid_, -1);
  }
  return *this;
}

void Process::signal(int number) const {
  if (pid_ > 0) ::kill(pid_, number);
}

std::optional<int> Process::wait(int limit_s) {
  if (pid_ <= 0) return std::nullopt;
  for (int i = 0; i < limit_s * 100; ++i) {
    int status = 0;
    if (waitpid(pid_, &status, WNOHANG) == pid_) {
      pid_ = -1;
      return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
    }
    std::this_thread::sleep_for(std::chrono::milliseconds{10});
  }
  return std::nullopt;
}

void Process::kill() {
  if (pid_ <= 0) return;
  ::kill(pid_, SIGKILL);
  waitpid(pid_, nullptr, 0);
  pid_ = -1;
}

bool Process::running() {
  if (pid_ <= 0) return false;
  siginfo_t info{};
  return waitid(P_PID, static_cast<id_t>(pid_), &info, WEXITED | WNOHANG | WNOWAIT) == 0 && info.si_pid == 0;
}

std::uint16_t free_port() {
  const int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_in address = loopback(0);
  socklen_t length = sizeof(address);
  void* bytes = &address;
  const bool got = bind(fd, static_cast<sockaddr*>(bytes), length) == 0 &&
                   getsockname(fd, static_cast<sockaddr*>(bytes), &length) == 0;
  close(fd);
  if (!got) throw std::runtime_error("no free port");
  return ntohs(address.sin_port);
}

bool listening(std::uint16_t port) {
  const int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_in address = loopback(port);
  void* bytes = &address;
  const bool up = connect(fd, static_cast<sockaddr*>(bytes), sizeof(address)) == 0;
  close(fd);
  return up;
}

}  // namespace driftline::testing
