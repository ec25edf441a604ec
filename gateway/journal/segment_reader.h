// Reads one segment file record by record, past whatever damage is in it.
#pragma once

#include <cstdint>
#include <string>

#include "gateway/journal/file_layer.h"
#include "gateway/journal/record.h"

namespace driftline::journal {

// One thread. Views of records live until the next call that may refill.
class SegmentReader {
 public:
  enum class Step : std::uint8_t {
    record,
    pause,   // more can be read, but the buffer must be refilled for it, and the caller said not to
    end,     // the limit is reached
    failed,  // the system would not read; errno says why; the same call may be repeated
  };

  // Begins after the head, or at the start where the head is damaged. `opened` says whether the file is there.
  SegmentReader(FileLayer& files, const std::string& path);
  SegmentReader(const SegmentReader&) = delete;
  SegmentReader& operator=(const SegmentReader&) = delete;
  ~SegmentReader();

  [[nodiscard]] bool opened() const { return file_ >= 0; }
  [[nodiscard]] const std::optional<SegmentHead>& head() const { return head_; }

  // The next valid record before the byte `limit` of the file.
  [[nodiscard]] Step next(std::uint64_t limit, bool may_refill, RecordView& out);

  // Bytes that were no record, since the last call.
  [[nodiscard]] std::uint64_t take_skipped();
  // End of the last valid record, or of the head.
  [[nodiscard]] std::uint64_t valid_end() const { return valid_end_; }

 private:
  [[nodiscard]] std::string_view held() const { return std::string_view{buffer_}.substr(begin_); }
  bool refill(std::uint64_t limit, std::size_t wanted);
  long read_past_bad_pages(char* into, std::size_t bytes, std::uint64_t offset);
  void skip(std::size_t bytes);

  FileLayer& files_;
  int file_ = -1;
  std::optional<SegmentHead> head_;
  std::string buffer_;
  std::size_t begin_ = 0;            // first byte of buffer_ that is not yet read as a record
  std::uint64_t buffer_offset_ = 0;  // of buffer_'s first byte in the file
  std::uint64_t valid_end_ = 0;
  std::uint64_t skipped_ = 0;
};

}  // namespace driftline::journal
