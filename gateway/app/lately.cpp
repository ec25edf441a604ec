#include "gateway/app/lately.h"

#include <algorithm>
#include <map>
#include <optional>

#include "gateway/journal/reader.h"
#include "gateway/telemetry/mapped.h"

namespace driftline {
namespace {

// Ten minutes of 5,000 stations that send each fifteen seconds; some 100 ms to read. Further back nobody looks.
constexpr std::uint64_t lately_records_max = 200'000;
constexpr std::uint64_t records_first = 2'000;
constexpr std::uint64_t records_growth = 10;

class Decoding {
 public:
  Decoding(const LatelySettings& settings, const StationId& station)
      : own_topic_(settings.topic_root + "/" + station.site + "/" + station.station + "/telemetry"), station_(station) {
    if (auto made = MappedDecoder::make(settings.mappings); made && !settings.mappings.empty()) mapped_.emplace(std::move(*made));
  }

  void take(const journal::RecordView& record, std::vector<Sample>& into) {
    decoded_.clear();
    if (record.topic == own_topic_) native_.decode(TopicKind::telemetry, record.payload, record.received, decoded_);
    else if (const auto mapping = mapping_of(record.topic)) mapped_->decode(*mapping, record.payload, record.received, decoded_);
    into.insert(into.end(), decoded_.samples.begin(), decoded_.samples.end());
  }

 private:
  // Each topic is matched once.
  std::optional<std::size_t> mapping_of(std::string_view topic) {
    if (!mapped_) return std::nullopt;
    const auto known = by_topic_.find(topic);
    if (known != by_topic_.end()) return known->second;
    std::optional<std::size_t> mapping;
    if (const auto match = mapped_->match(topic); match && match->outcome.topic && match->outcome.topic->station == station_) mapping = match->mapping;
    by_topic_.emplace(topic, mapping);
    return mapping;
  }

  const std::string own_topic_;
  const StationId station_;
  NativeDecoder native_;
  std::optional<MappedDecoder> mapped_;
  std::map<std::string, std::optional<std::size_t>, std::less<>> by_topic_;
  Decoded decoded_;
};

// True: it began at or before `since`, or with the oldest record there is.
bool read_from(journal::Journal& journal, journal::Position from, journal::Position end, Time since, Decoding& decoding, std::vector<Sample>& into) {
  journal::Reader reader(journal, from);
  bool reached = false;
  for (bool first = true; reader.next() < end;) {
    const auto records = reader.read({}, std::chrono::milliseconds{0});
    if (records.empty()) break;
    if (std::exchange(first, false)) reached = records.front().received <= since;
    for (const journal::RecordView& record : records)
      if (record.received > since) decoding.take(record, into);
  }
  return reached;
}

}  // namespace

std::vector<Sample> samples_lately(journal::Journal& journal, const LatelySettings& settings, const StationId& station, Time now,
                                   std::chrono::seconds span) {
  const auto held = journal.status();
  Decoding decoding(settings, station);
  std::vector<Sample> samples;
  for (std::uint64_t count = records_first;; count *= records_growth) {
    samples.clear();
    count = std::min(count, lately_records_max);
    const journal::Position from = held.next > held.first + count ? held.next - count : held.first;
    if (read_from(journal, from, held.next, now - span, decoding, samples) || from == held.first || count == lately_records_max) break;
  }
  std::stable_sort(samples.begin(), samples.end(), [](const Sample& a, const Sample& b) { return a.time < b.time; });
  samples.erase(std::unique(samples.begin(), samples.end(), [](const Sample& a, const Sample& b) { return a.time == b.time; }), samples.end());
  if (!samples.empty()) {
    const Time oldest = samples.back().time - span;
    std::erase_if(samples, [&](const Sample& sample) { return sample.time < oldest; });
  }
  return samples;
}

}  // namespace driftline
