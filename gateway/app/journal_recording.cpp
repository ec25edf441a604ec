#include "gateway/app/journal_recording.h"

#include "gateway/journal/reader.h"
#include "gateway/telemetry/recording.h"

namespace driftline {

tl::expected<std::uint64_t, std::string> record_journal(const std::filesystem::path& data_folder,
                                                        const std::filesystem::path& recording) {
  const std::filesystem::path folder = data_folder / "journal";
  if (!std::filesystem::is_directory(folder)) return tl::unexpected(folder.string() + " is not there");
  auto journal = journal::Journal::open({.directory = folder.string()});
  if (!journal) return tl::unexpected(journal.error());
  auto writer = RecordingWriter::create(recording);
  if (!writer) return tl::unexpected(writer.error());
  journal::Reader reader(**journal, 1);
  std::uint64_t messages = 0;
  const journal::Position end = (*journal)->status().next;
  while (reader.next() < end) {
    const auto records = reader.read({}, std::chrono::milliseconds{0});
    if (records.empty()) break;
    for (const auto& record : records) {
      if (auto problem =
              writer->write({record.received, std::string(record.topic), std::string(record.payload)}))
        return tl::unexpected(*problem);
      ++messages;
    }
  }
  if (auto problem = writer->close()) return tl::unexpected(*problem);
  return messages;
}

}  // namespace driftline
