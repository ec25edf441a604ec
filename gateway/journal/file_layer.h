// The few calls to the operating system that the journal makes, as a seam: one body is the system, the other, in tests,
// fails at the n-th call. Return values and errno as of the calls they stand for; a signal never shows (calls are repeated).
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

namespace driftline::journal {

class FileLayer {
 public:
  FileLayer() = default;
  FileLayer(const FileLayer&) = delete;
  FileLayer& operator=(const FileLayer&) = delete;
  virtual ~FileLayer() = default;

  virtual int create(const std::string& path);     // read and write at the end; an existing file is emptied
  virtual int open_read(const std::string& path);
  virtual int open_update(const std::string& path);
  virtual long write(int file, std::string_view bytes);  // may take less than all
  virtual long read_at(int file, char* into, std::size_t bytes, std::uint64_t offset);
  virtual int sync(int file);                       // data and what is needed to find them
  virtual int sync_directory(const std::string& path);
  virtual int truncate(int file, std::uint64_t bytes);
  virtual int rename(const std::string& from, const std::string& to);
  virtual int remove(const std::string& path);
  virtual void close(int file);
};

[[nodiscard]] FileLayer& system_files();

}  // namespace driftline::journal
