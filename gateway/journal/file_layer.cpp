#include "gateway/journal/file_layer.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>

namespace driftline::journal {
namespace {

template <typename Call>
auto repeated(Call call) {
  auto result = call();
  while (result < 0 && errno == EINTR) result = call();
  return result;
}

}  // namespace

int FileLayer::create(const std::string& path) {
  return repeated([&] { return ::open(path.c_str(), O_CREAT | O_TRUNC | O_RDWR | O_APPEND | O_CLOEXEC, 0640); });
}

int FileLayer::open_read(const std::string& path) {
  return repeated([&] { return ::open(path.c_str(), O_RDONLY | O_CLOEXEC); });
}

int FileLayer::open_update(const std::string& path) {
  return repeated([&] { return ::open(path.c_str(), O_RDWR | O_CLOEXEC); });
}

long FileLayer::write(int file, std::string_view bytes) {
  return repeated([&] { return ::write(file, bytes.data(), bytes.size()); });
}

long FileLayer::read_at(int file, char* into, std::size_t bytes, std::uint64_t offset) {
  return repeated([&] { return ::pread(file, into, bytes, static_cast<off_t>(offset)); });
}

int FileLayer::sync(int file) {
  return repeated([&] { return ::fdatasync(file); });
}

int FileLayer::sync_directory(const std::string& path) {
  const int directory = repeated([&] { return ::open(path.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC); });
  if (directory < 0) return -1;
  const int result = repeated([&] { return ::fsync(directory); });
  const int reason = errno;
  ::close(directory);
  errno = reason;
  return result;
}

int FileLayer::truncate(int file, std::uint64_t bytes) {
  return repeated([&] { return ::ftruncate(file, static_cast<off_t>(bytes)); });
}

int FileLayer::rename(const std::string& from, const std::string& to) {
  return std::rename(from.c_str(), to.c_str());
}

int FileLayer::remove(const std::string& path) { return ::unlink(path.c_str()); }

void FileLayer::close(int file) { ::close(file); }

FileLayer& system_files() {
  static FileLayer system;
  return system;
}

}  // namespace driftline::journal
