// Lines made of rows of the history, and which row each came from.
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "gateway/history/reader.h"
#include "gateway/metrics/line.h"

namespace driftline::metrics {

struct LineOrigin {
  history::Feed feed = history::Feed::half_cycles;
  std::int64_t row_id = 0;  // of faults that share a line: the first
  std::size_t end = 0;      // of the line in `text`
};

// A row that cannot become a line.
struct Unfit {
  history::Feed feed = history::Feed::half_cycles;
  std::int64_t row_id = 0;
  Refusal refusal = Refusal::bad_tag;
};

struct Batch {
  std::string text;
  std::vector<LineOrigin> lines;
  std::vector<Unfit> unfit;
  std::vector<history::CursorMark> reached;  // once all of it is dealt with

  [[nodiscard]] std::string_view part(std::size_t first, std::size_t last) const {  // lines first..last-1
    const std::size_t begin = first == 0 ? 0 : lines[first - 1].end;
    return std::string_view{text}.substr(begin, lines[last - 1].end - begin);
  }
  [[nodiscard]] bool empty() const { return lines.empty() && unfit.empty(); }
};

using Marks = std::map<history::Feed, std::int64_t>;

// The next rows after `marks`, at most `lines_max` of them, warnings first: they matter most after an outage.
[[nodiscard]] tl::expected<Batch, history::Trouble> next_batch(history::Reader& reader, const Marks& marks,
                                                               int lines_max);

}  // namespace driftline::metrics
