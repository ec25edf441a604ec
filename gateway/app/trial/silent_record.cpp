#include "gateway/app/trial/silent_record.h"

#include <cereal/archives/portable_binary.hpp>
#include <cereal/types/chrono.hpp>
#include <cereal/types/optional.hpp>
#include <cereal/types/string.hpp>
#include <cereal/types/vector.hpp>
#include <filesystem>
#include <fstream>

namespace driftline::trial {
namespace {

namespace fs = std::filesystem;

constexpr std::uint32_t version = 1;  // bytes of another one are not read: the station begins anew from what is kept

}  // namespace

template <class Archive>
void serialize(Archive& archive, SilentChange& v) {
  archive(v.time, v.line, v.condition, v.urgency, v.change);
}
template <class Archive>
void serialize(Archive& archive, SilentStation& v) {
  archive(v.id.site, v.id.station, v.mark.received, v.mark.same, v.last_taken, v.rules, v.site, v.changes);
}

std::string silent_folder(const std::string& data_folder) { return (fs::path(data_folder) / "silent").string(); }

std::optional<SilentRecord> read_silent(const std::string& folder, const std::string& proposal) {
  std::ifstream in(fs::path(folder) / proposal, std::ios::binary);
  if (!in.is_open()) return std::nullopt;
  try {
    cereal::PortableBinaryInputArchive archive(in);
    std::uint32_t written = 0;
    archive(written);
    if (written != version) return std::nullopt;
    SilentRecord record;
    archive(record.proposal, record.since, record.stations);
    return record;
  } catch (const std::exception&) {  // of the archive, or a length that no memory has: not what we wrote
    return std::nullopt;
  }
}

bool write_silent(const std::string& folder, const SilentRecord& record) {
  std::error_code failed;
  fs::create_directories(folder, failed);
  const fs::path file = fs::path(folder) / record.proposal;
  const fs::path beside = file.string() + ".part";
  {
    std::ofstream out(beside, std::ios::binary | std::ios::trunc);
    if (!out.is_open()) return false;
    cereal::PortableBinaryOutputArchive archive(out);
    archive(version, record.proposal, record.since, record.stations);
    out.flush();
    if (!out) return false;
  }
  fs::rename(beside, file, failed);
  return !failed;
}

}  // namespace driftline::trial
