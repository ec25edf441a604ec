#include "gateway/journal/segment_reader.h"

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <utility>

#include "gateway/journal/limits.h"

namespace driftline::journal {

SegmentReader::SegmentReader(FileLayer& files, const std::string& path) : files_(files) {
  file_ = files_.open_read(path);
  if (file_ < 0) return;
  std::string bytes(segment_head_bytes, '\0');
  const long got = files_.read_at(file_, bytes.data(), bytes.size(), 0);
  if (got == static_cast<long>(bytes.size())) head_ = read_head(bytes);
  if (head_) buffer_offset_ = valid_end_ = segment_head_bytes;
}

SegmentReader::~SegmentReader() {
  if (file_ >= 0) files_.close(file_);
}

SegmentReader::Step SegmentReader::next(std::uint64_t limit, bool may_refill, RecordView& out) {
  for (;;) {
    const Parsed parsed = held().empty() ? Parsed{Parse::more, {}, record_head_bytes} : parse_record(held());
    switch (parsed.kind) {
      case Parse::record:
        begin_ += parsed.bytes;
        valid_end_ = buffer_offset_ + begin_;
        out = parsed.record;
        return Step::record;
      case Parse::damage: {
        const std::size_t at = find_mark(held(), 1);
        skip(at == std::string_view::npos ? held().size() : at);
        break;
      }
      case Parse::more: {
        const std::uint64_t at = buffer_offset_ + begin_;
        if (at >= limit) return Step::end;
        if (at + parsed.bytes > limit && !held().empty()) {
          // What begins here would go past the end: its length is damaged, or the end is torn.
          const std::size_t mark = find_mark(held(), 1);
          skip(mark == std::string_view::npos ? held().size() : mark);
          break;
        }
        if (!may_refill) return Step::pause;
        if (!refill(limit, parsed.bytes)) return Step::failed;
        break;
      }
    }
  }
}

std::uint64_t SegmentReader::take_skipped() { return std::exchange(skipped_, 0); }

void SegmentReader::skip(std::size_t bytes) {
  begin_ += bytes;
  skipped_ += bytes;
}

bool SegmentReader::refill(std::uint64_t limit, std::size_t wanted) {
  buffer_.erase(0, begin_);
  buffer_offset_ += begin_;
  begin_ = 0;
  const std::size_t kept = buffer_.size();
  const std::uint64_t left = limit - (buffer_offset_ + kept);
  const std::size_t take =
      static_cast<std::size_t>(std::min<std::uint64_t>(left, std::max(read_chunk_bytes, wanted)));
  buffer_.resize(kept + take);
  const long got = read_past_bad_pages(buffer_.data() + kept, take, buffer_offset_ + kept);
  if (got > 0) {
    buffer_.resize(kept + static_cast<std::size_t>(got));
    return true;
  }
  buffer_.resize(kept);
  if (got < 0) return false;
  // The file is shorter than it was: somebody cut it. What is missing is damage.
  skipped_ += kept + left;
  buffer_.clear();
  buffer_offset_ = limit;
  return true;
}

// A page that cannot be read any more is read as zeros, which are no record: damage to be skipped, not an endless error.
long SegmentReader::read_past_bad_pages(char* into, std::size_t bytes, std::uint64_t offset) {
  constexpr std::size_t page = 4096;
  const long got = files_.read_at(file_, into, bytes, offset);
  if (got >= 0 || errno != EIO) return got;
  const std::size_t first = std::min<std::size_t>(bytes, page - static_cast<std::size_t>(offset % page));
  const long part = files_.read_at(file_, into, first, offset);
  if (part >= 0 || errno != EIO) return part;
  std::memset(into, 0, first);
  return static_cast<long>(first);
}

}  // namespace driftline::journal
