#include <zlib.h>

#include <cerrno>
#include <cstring>

#include "gateway/telemetry/limits.h"
#include "gateway/telemetry/recording.h"

namespace driftline {

struct RecordingWriter::Parts {
  std::string name;
  gzFile file = nullptr;
  std::string line;

  ~Parts() {
    if (file != nullptr) gzclose(file);
  }
  [[nodiscard]] std::string trouble(std::string_view doing) const {
    return name + ": cannot be " + std::string(doing) + ": " + std::strerror(errno);
  }
};

RecordingWriter::RecordingWriter(std::unique_ptr<Parts> parts) : parts_(std::move(parts)) {}
RecordingWriter::~RecordingWriter() = default;
RecordingWriter::RecordingWriter(RecordingWriter&&) noexcept = default;
RecordingWriter& RecordingWriter::operator=(RecordingWriter&&) noexcept = default;

tl::expected<RecordingWriter, std::string> RecordingWriter::create(const std::filesystem::path& file) {
  auto parts = std::make_unique<Parts>();
  parts->name = file.string();
  // Level 4: half the time of the default for a tenth more bytes on telemetry. "T": as it is, no gzip.
  parts->file = gzopen(parts->name.c_str(), file.extension() == ".gz" ? "wb4" : "wbT");
  if (parts->file == nullptr) return tl::unexpected(parts->trouble("written"));
  gzbuffer(parts->file, telemetry_limits::read_buffer_bytes);
  return RecordingWriter(std::move(parts));
}

std::optional<std::string> RecordingWriter::write(const Message& message) {
  if (parts_->file == nullptr) return parts_->name + ": is closed";
  parts_->line.clear();
  append_record(parts_->line, message);
  parts_->line += '\n';
  const int written = gzwrite(parts_->file, parts_->line.data(), static_cast<unsigned>(parts_->line.size()));
  if (written != static_cast<int>(parts_->line.size())) return parts_->trouble("written");
  return std::nullopt;
}

std::optional<std::string> RecordingWriter::close() {
  if (parts_->file == nullptr) return std::nullopt;
  const int result = gzclose(parts_->file);
  parts_->file = nullptr;
  if (result != Z_OK) return parts_->trouble("finished");
  return std::nullopt;
}

}  // namespace driftline
