// Files that fail on purpose, and files that know what a power cut would leave of them.
#pragma once

#include <sys/stat.h>

#include <cerrno>
#include <map>
#include <string>

#include "gateway/journal/file_layer.h"

namespace driftline::journal {

// Does not wait for the disk: a test is killed at most, never without power.
class QuickFiles : public FileLayer {
 public:
  int sync(int) override { return 0; }
  int sync_directory(const std::string&) override { return 0; }
};

// Calls that change something are counted; those from `first` on, `count` of them, fail with `reason`. A failing write has
// put half of its bytes into the file before.
class FailingFiles : public FileLayer {
 public:
  int first = 0;
  int count = 0;
  int reason = ENOSPC;
  int calls = 0;

  int create(const std::string& path) override { return fails() ? -1 : FileLayer::create(path); }
  long write(int file, std::string_view bytes) override {
    if (!fails()) return FileLayer::write(file, bytes);
    (void)FileLayer::write(file, bytes.substr(0, bytes.size() / 2));
    errno = reason;
    return -1;
  }
  int sync(int) override { return fails() ? -1 : 0; }
  int sync_directory(const std::string&) override { return fails() ? -1 : 0; }
  int truncate(int file, std::uint64_t bytes) override { return fails() ? -1 : FileLayer::truncate(file, bytes); }
  int rename(const std::string& from, const std::string& to) override {
    return fails() ? -1 : FileLayer::rename(from, to);
  }

 private:
  bool fails() {
    ++calls;
    if (calls < first || calls >= first + count) return false;
    errno = reason;
    return true;
  }
};

// A page of every file that cannot be read any more.
class BadPage : public QuickFiles {
 public:
  std::uint64_t page = 0;  // 0: none
  long read_at(int file, char* into, std::size_t bytes, std::uint64_t offset) override {
    if (page == 0 || offset >= (page + 1) * 4096 || offset + bytes <= page * 4096)
      return FileLayer::read_at(file, into, bytes, offset);
    errno = EIO;
    return -1;
  }
};

// Takes a few bytes at a time, as a system under signals may.
class ShortWrites : public QuickFiles {
 public:
  long write(int file, std::string_view bytes) override { return FileLayer::write(file, bytes.substr(0, 7)); }
};

// Remembers how much of each file was on the disk.
class CuttableFiles : public QuickFiles {
 public:
  int create(const std::string& path) override {
    const int file = FileLayer::create(path);
    paths_[file] = path;
    synced_[path] = 0;
    return file;
  }
  int sync(int file) override {
    struct stat about {};
    ::fstat(file, &about);
    if (paths_.contains(file)) synced_[paths_[file]] = static_cast<std::uint64_t>(about.st_size);
    return 0;
  }
  void close(int file) override {
    paths_.erase(file);
    FileLayer::close(file);
  }
  [[nodiscard]] const std::map<std::string, std::uint64_t>& synced() const { return synced_; }

 private:
  std::map<int, std::string> paths_;
  std::map<std::string, std::uint64_t> synced_;
};

}  // namespace driftline::journal
