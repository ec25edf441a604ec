#include <zlib.h>

#include <algorithm>
#include <atomic>
#include <cerrno>
#include <cstring>
#include <set>

#include "gateway/telemetry/limits.h"
#include "gateway/telemetry/recording.h"

namespace driftline {
namespace {

namespace limits = telemetry_limits;
namespace fs = std::filesystem;

enum class Got : std::uint8_t { line, too_long, damaged, end };

// Lines of one file, plain or gzip.
class LineFile {
 public:
  explicit LineFile(std::string name) : name_(std::move(name)) {}
  LineFile(const LineFile&) = delete;
  LineFile& operator=(const LineFile&) = delete;
  ~LineFile() { close(); }

  [[nodiscard]] bool is_open() const { return file_ != nullptr; }
  [[nodiscard]] const std::string& name() const { return name_; }
  [[nodiscard]] std::uint64_t line_number() const { return line_number_; }
  [[nodiscard]] std::uint64_t offset() const {
    if (file_ == nullptr) return 0;
    const auto at = gzoffset(file_);
    return at < 0 ? 0 : static_cast<std::uint64_t>(at);
  }

  bool open() {
    file_ = gzopen(name_.c_str(), "rb");
    if (file_ == nullptr) return false;
    gzbuffer(file_, limits::read_buffer_bytes);
    buffer_.resize(limits::read_buffer_bytes);
    begin_ = end_ = 0;
    line_number_ = 0;
    drained_ = damaged_ = false;
    return true;
  }
  void close() {
    if (file_ != nullptr) gzclose(file_);
    file_ = nullptr;
    buffer_ = {};
  }

  // The view lasts until the next call. `damaged` comes once, with what could still be read of the last line lost.
  Got next(std::string_view& line) {
    std::size_t searched = 0;  // bytes of the line that hold no line end
    bool too_long = false;
    while (true) {
      const char* const first = buffer_.data() + begin_;
      const auto* newline = static_cast<const char*>(std::memchr(first + searched, '\n', end_ - begin_ - searched));
      if (newline != nullptr) {
        line = {first, static_cast<std::size_t>(newline - first)};
        begin_ += line.size() + 1;
        ++line_number_;
        return too_long ? Got::too_long : Got::line;
      }
      searched = end_ - begin_;
      if (searched > limits::record_bytes_max) {
        too_long = true;
        begin_ = end_;
        searched = 0;
      }
      if (!drained_ && refill()) continue;
      return last_line(line, too_long);
    }
  }

 private:
  Got last_line(std::string_view& line, bool too_long) {
    line = {buffer_.data() + begin_, end_ - begin_};
    begin_ = end_;
    if (damaged_) {
      damaged_ = false;
      ++line_number_;
      return Got::damaged;
    }
    if (line.empty() && !too_long) return Got::end;
    ++line_number_;
    return too_long ? Got::too_long : Got::line;
  }

  // Makes room behind what is unread and reads more; false at the end.
  bool refill() {
    if (begin_ > 0) {
      std::memmove(buffer_.data(), buffer_.data() + begin_, end_ - begin_);
      end_ -= begin_;
      begin_ = 0;
    }
    if (end_ == buffer_.size()) buffer_.resize(buffer_.size() * 2);
    const int got = gzread(file_, buffer_.data() + end_, static_cast<unsigned>(buffer_.size() - end_));
    if (got > 0) end_ += static_cast<std::size_t>(got);
    if (got > 0) return true;
    drained_ = true;
    int error = Z_OK;
    gzerror(file_, &error);
    damaged_ = got < 0 || error != Z_OK;
    return false;
  }

  std::string name_;
  gzFile file_ = nullptr;
  std::vector<char> buffer_;
  std::size_t begin_ = 0;
  std::size_t end_ = 0;
  std::uint64_t line_number_ = 0;
  bool drained_ = false;
  bool damaged_ = false;
};

bool is_blank(std::string_view line) { return line.find_first_not_of(" \t\r") == std::string_view::npos; }

std::string_view without_mark(std::string_view line, std::uint64_t line_number) {
  constexpr std::string_view byte_order_mark = "\xEF\xBB\xBF";
  if (line_number == 1 && line.substr(0, 3) == byte_order_mark) line.remove_prefix(3);
  return line;
}

// A file and its next message.
struct Recording {
  LineFile lines;
  std::uint64_t bytes = 0;
  Message head;

  Recording(std::string name, std::uint64_t size) : lines(std::move(name)), bytes(size) {}

  // Reads up to the next message or fault.
  RecordingReader::Step advance(RecordFault& fault) {
    using Step = RecordingReader::Step;
    std::string_view line;
    while (true) {
      const Got got = lines.next(line);
      if (got == Got::end) return Step::end;
      if (got == Got::line) {
        line = without_mark(line, lines.line_number());
        if (is_blank(line)) continue;
        auto trouble = read_record(line, head);
        if (!trouble) return Step::message;
        fault = {lines.name(), lines.line_number(), std::move(*trouble)};
        return Step::fault;
      }
      Fault trouble{FaultCode::unreadable_record, {}, {}, {}};
      trouble.why = got == Got::too_long ? "a line of more than " + std::to_string(limits::record_bytes_max) + " bytes"
                                         : std::string("the file cannot be read on: damaged or cut off");
      trouble.remedy = got == Got::too_long ? "one message a line" : "a whole copy of the recording";
      fault = {lines.name(), lines.line_number(), std::move(trouble)};
      return Step::fault;
    }
  }
};

tl::expected<std::vector<fs::path>, std::string> files_of(const std::vector<fs::path>& paths) {
  std::vector<fs::path> files;
  std::error_code error;
  for (const fs::path& path : paths) {
    if (fs::is_regular_file(path, error)) {
      files.push_back(path);
      continue;
    }
    if (!fs::is_directory(path, error)) return tl::unexpected(path.string() + ": no such file or folder");
    const std::size_t before = files.size();
    fs::directory_iterator entries(path, error);
    for (; !error && entries != fs::directory_iterator(); entries.increment(error)) {
      const auto ending = entries->path().extension();
      std::error_code ignored;
      if ((ending == ".ndjson" || ending == ".gz") && entries->is_regular_file(ignored)) files.push_back(entries->path());
    }
    if (error) return tl::unexpected(path.string() + ": cannot be listed: " + error.message());
    if (files.size() == before) return tl::unexpected(path.string() + ": holds no recording (*.ndjson or *.gz)");
  }
  if (files.empty()) return tl::unexpected(std::string("no recording was named"));
  std::sort(files.begin(), files.end(), [](const fs::path& a, const fs::path& b) {
    return std::pair(a.filename().string(), a.string()) < std::pair(b.filename().string(), b.string());
  });
  std::set<fs::path> met;
  std::erase_if(files, [&](const fs::path& file) {
    std::error_code ignored;
    return !met.insert(fs::weakly_canonical(file, ignored)).second;
  });
  return files;
}

}  // namespace

struct RecordingReader::Parts {
  struct Due {
    Time received;
    std::size_t file;
    bool peeked;  // the file is closed; only its first time is known
    // For the heap: the earliest on top, then the file that sorts first.
    bool operator<(const Due& other) const {
      return received != other.received ? received > other.received : file > other.file;
    }
  };

  std::vector<std::unique_ptr<Recording>> files;
  std::vector<Due> due;  // a heap
  std::optional<std::size_t> advancing;  // the file whose head was handed out
  Time latest = Time::min();
  std::uint64_t bytes_total = 0;
  std::uint64_t bytes_of_closed = 0;
  std::uint64_t lines_until_count = 0;
  std::atomic<std::uint64_t> bytes_read{0};

  void push(const Due& entry) {
    due.push_back(entry);
    std::push_heap(due.begin(), due.end());
  }
  Due pop() {
    std::pop_heap(due.begin(), due.end());
    const Due entry = due.back();
    due.pop_back();
    return entry;
  }

  void count_progress() {
    if (lines_until_count-- > 0) return;
    lines_until_count = 1000;
    std::uint64_t sum = bytes_of_closed;
    for (const auto& file : files) sum += file->lines.offset();
    bytes_read.store(sum, std::memory_order_relaxed);
  }

  void finish(std::size_t file) {
    files[file]->lines.close();
    bytes_of_closed += files[file]->bytes;
    lines_until_count = 0;
    count_progress();
  }

  // Due at its first message's time, so that it need not be open before. Faults before that message are said when it is.
  std::optional<std::string> peek(std::size_t index) {
    Recording& file = *files[index];
    if (!file.lines.open()) return file.lines.name() + ": cannot be read: " + std::strerror(errno);
    Time first = Time::min();
    RecordFault ignored;
    for (Step step = Step::fault; files.size() > 1 && step == Step::fault;) {
      step = file.advance(ignored);
      if (step == Step::message) first = file.head.received;
    }
    file.lines.close();
    push({first, index, true});
    return std::nullopt;
  }
};

RecordingReader::RecordingReader(std::unique_ptr<Parts> parts) : parts_(std::move(parts)) {}
RecordingReader::~RecordingReader() = default;
RecordingReader::RecordingReader(RecordingReader&&) noexcept = default;
RecordingReader& RecordingReader::operator=(RecordingReader&&) noexcept = default;

tl::expected<RecordingReader, std::string> RecordingReader::open(const std::vector<fs::path>& paths) {
  const auto files = files_of(paths);
  if (!files) return tl::unexpected(files.error());
  auto parts = std::make_unique<Parts>();
  for (const fs::path& file : *files) {
    std::error_code error;
    const auto bytes = fs::file_size(file, error);
    parts->files.push_back(std::make_unique<Recording>(file.string(), error ? 0 : bytes));
    parts->bytes_total += error ? 0 : bytes;
  }
  for (std::size_t i = 0; i < parts->files.size(); ++i)
    if (auto trouble = parts->peek(i)) return tl::unexpected(std::move(*trouble));
  return RecordingReader(std::move(parts));
}

RecordingReader::Step RecordingReader::next(Message& message, RecordFault& fault) {
  Parts& parts = *parts_;
  while (true) {
    if (parts.advancing) {
      const std::size_t index = *parts.advancing;
      Recording& file = *parts.files[index];
      const Step step = file.advance(fault);
      parts.count_progress();
      if (step == Step::fault) return step;
      parts.advancing.reset();
      if (step == Step::message) parts.push({file.head.received, index, false});
      else parts.finish(index);
    }
    if (parts.due.empty()) return Step::end;
    const Parts::Due entry = parts.pop();
    parts.advancing = entry.file;
    Recording& file = *parts.files[entry.file];
    if (entry.peeked) {
      if (file.lines.open()) continue;
      parts.advancing.reset();
      fault = {file.lines.name(), 0,
               {FaultCode::unreadable_record, {}, std::string("the file can no longer be opened: ") + std::strerror(errno), "leave it in place"}};
      return Step::fault;
    }
    parts.latest = std::max(parts.latest, entry.received);
    message.received = parts.latest;
    message.topic.swap(file.head.topic);
    message.payload.swap(file.head.payload);
    return Step::message;
  }
}

RecordingReader::Progress RecordingReader::progress() const {
  return {parts_->bytes_read.load(std::memory_order_relaxed), parts_->bytes_total};
}

}  // namespace driftline
