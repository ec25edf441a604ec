// Recorded telemetry: read for a replay, written by the simulator and by tests.
//
// A recording is text, one message a line in order of arrival, gzip or plain:
//   {"received":"2026-03-01T06:00:00.310Z","topic":"grease/northyard/ps-01/telemetry","payload":{...}}
// `payload` is the message's JSON as it came; a payload that is not JSON on one line stands as "payload_base64":"...".
// Members may stand in any order, others are ignored. Empty lines and a byte order mark at the start are skipped.
// A torn end (the writer died, or the copy is incomplete) is a fault of its last line; what was read before it stands.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "gateway/telemetry/decode.h"
#include "gateway/telemetry/fault.h"

namespace driftline {

// A line that is not a recorded message.
struct RecordFault {
  std::string file;
  std::uint64_t line = 0;  // from 1
  Fault fault;             // code unreadable_record; `where` points into the line's own object
  bool operator==(const RecordFault&) const = default;
};

// One line, without its line end. On a fault `out` is unspecified. Never throws.
[[nodiscard]] std::optional<Fault> read_record(std::string_view line, Message& out);

// Reads recordings and merges them by `received`; at equal times the file whose name sorts first comes first, so that the
// order is the same on every machine. `received` never steps back: where a recording's does, the time before is kept.
// Memory does not grow with the recordings, and files are open only while their time spans are being read. One thread;
// `progress` may be called from any.
class RecordingReader {
 public:
  enum class Step : std::uint8_t { message, fault, end };
  struct Progress {
    std::uint64_t bytes_read = 0;  // of the files as they lie on disk
    std::uint64_t bytes_total = 0;
  };

  // Files, and folders of which all *.ndjson and *.gz are taken. A file named twice is read once. The error is a sentence
  // that names the path.
  [[nodiscard]] static tl::expected<RecordingReader, std::string> open(const std::vector<std::filesystem::path>& paths);

  ~RecordingReader();
  RecordingReader(RecordingReader&&) noexcept;
  RecordingReader& operator=(RecordingReader&&) noexcept;

  // Fills `message` or `fault` as the answer says; their capacity is reused.
  [[nodiscard]] Step next(Message& message, RecordFault& fault);
  [[nodiscard]] Progress progress() const;

 private:
  struct Parts;
  explicit RecordingReader(std::unique_ptr<Parts> parts);
  std::unique_ptr<Parts> parts_;
};

// Writes a recording; gzip when the file's name ends in .gz. What `read_record` reads back is the message to the byte.
// Errors are sentences that name the file; after one the recording is not to be trusted. One thread.
class RecordingWriter {
 public:
  [[nodiscard]] static tl::expected<RecordingWriter, std::string> create(const std::filesystem::path& file);

  ~RecordingWriter();  // closes; a failure then is lost, so call close()
  RecordingWriter(RecordingWriter&&) noexcept;
  RecordingWriter& operator=(RecordingWriter&&) noexcept;

  [[nodiscard]] std::optional<std::string> write(const Message& message);
  [[nodiscard]] std::optional<std::string> close();

 private:
  struct Parts;
  explicit RecordingWriter(std::unique_ptr<Parts> parts);
  std::unique_ptr<Parts> parts_;
};

// The line for `message`, without a line end, appended to `out`.
void append_record(std::string& out, const Message& message);

}  // namespace driftline
