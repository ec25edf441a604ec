#include "gateway/metrics/batch.h"

#include <algorithm>
#include <utility>

namespace driftline::metrics {
namespace {

using history::Feed;

std::optional<Refusal> append_row(std::string& out, const history::HalfCycleRow& row) {
  return append_line(out, row.station, row.half_cycle);
}
template <typename Row>
std::optional<Refusal> append_row(std::string& out, const Row& row) {
  return append_line(out, row);
}

class Filler {
 public:
  Filler(const Marks& marks, int lines_max) : marks_(marks), room_(lines_max) {}

  template <typename Row>
  void add(Feed feed, history::Rows<Row> (history::Reader::*after)(std::int64_t, int), history::Reader& reader) {
    const auto rows = ask(feed, after, reader);
    for (const auto& stored : rows) add_line(feed, stored.id, append_row(batch_.text, stored.row));
    if (!rows.empty()) reach(feed, rows.back().id, rows.size());
  }

  // Rows of one millisecond, station and code share a point, so a group must not be torn apart by the bound on rows.
  void add_faults(history::Reader& reader) {
    auto rows = ask(Feed::faults, &history::Reader::faults_after, reader);
    if (!rows.empty() && static_cast<int>(rows.size()) == room_) {
      const Time last = rows.back().row.received;
      std::size_t whole = rows.size();
      while (whole > 0 && rows[whole - 1].row.received == last) --whole;
      if (whole > 0) rows.resize(whole);  // else: one millisecond fills the batch; its counts are split
    }
    std::vector<std::pair<FaultCount, std::int64_t>> counts;
    for (const auto& [id, row] : rows) {
      const auto same = std::find_if(counts.rbegin(), counts.rend(), [&row = row](const auto& known) {
        return known.first.received != row.received ||
               (known.first.code == row.fault.code && known.first.station == row.station);
      });
      if (same != counts.rend() && same->first.received == row.received)
        ++same->first.count;
      else
        counts.push_back({FaultCount{row.received, row.station, row.fault.code, 1}, id});
    }
    for (const auto& [count, id] : counts) add_line(Feed::faults, id, append_line(batch_.text, count));
    if (!rows.empty()) reach(Feed::faults, rows.back().id, counts.size());
  }

  tl::expected<Batch, history::Trouble> done() {
    if (trouble_) return tl::unexpected(*trouble_);
    return std::move(batch_);
  }

 private:
  template <typename Row>
  std::vector<history::Stored<Row>> ask(Feed feed, history::Rows<Row> (history::Reader::*after)(std::int64_t, int),
                                        history::Reader& reader) {
    const auto mark = marks_.find(feed);
    if (mark == marks_.end() || room_ <= 0 || trouble_) return {};
    auto rows = (reader.*after)(mark->second, room_);
    if (rows) return std::move(*rows);
    trouble_ = rows.error();
    return {};
  }
  void add_line(Feed feed, std::int64_t id, std::optional<Refusal> refusal) {
    if (refusal)
      batch_.unfit.push_back({feed, id, *refusal});
    else
      batch_.lines.push_back({feed, id, batch_.text.size()});
  }
  void reach(Feed feed, std::int64_t id, std::size_t lines) {
    batch_.reached.push_back({feed, id});
    room_ -= static_cast<int>(lines);
  }

  const Marks& marks_;
  int room_;
  Batch batch_;
  std::optional<history::Trouble> trouble_;
};

}  // namespace

tl::expected<Batch, history::Trouble> next_batch(history::Reader& reader, const Marks& marks, int lines_max) {
  Filler filler(marks, lines_max);
  filler.add(Feed::warnings, &history::Reader::warnings_after, reader);
  filler.add(Feed::reservoir_days, &history::Reader::reservoir_days_after, reader);
  filler.add(Feed::forecast_days, &history::Reader::forecast_days_after, reader);
  filler.add(Feed::half_cycles, &history::Reader::half_cycles_after, reader);
  filler.add_faults(reader);
  return filler.done();
}

}  // namespace driftline::metrics
