// RFC 3339 (July 2002), sections 5.6 to 5.8. Cases: tests/reference/data/rfc3339_cases.csv; the first five are the RFC's own
// examples (read), the rest follow from its text; seconds since 1970 computed.
#include <gtest/gtest.h>

#include <cmath>
#include <fstream>

#include "gateway/telemetry/decode.h"
#include "rules/records/time_text.h"

namespace driftline {
namespace {

struct Row {
  std::string text;
  bool valid = false;
  double unix_s = 0;
};

std::vector<Row> rows() {
  std::ifstream file(std::string(DRIFTLINE_SOURCE_DIR) + "/tests/reference/data/rfc3339_cases.csv");
  std::vector<Row> out;
  std::string line;
  while (std::getline(file, line)) {
    if (line.empty() || line[0] == '#' || line.rfind("text,", 0) == 0) continue;
    const std::size_t first = line.find(',');
    const std::size_t second = line.find(',', first + 1);
    const std::size_t third = line.find(',', second + 1);
    const std::string seconds = line.substr(second + 1, third - second - 1);
    out.push_back({line.substr(0, first), line[first + 1] == '1', seconds.empty() ? 0 : std::stod(seconds)});
  }
  return out;
}

TEST(TelemetryTimeRfc3339, every_case_is_taken_or_refused_as_the_rfc_has_it) {
  // A station's samples would be refused, or placed hours from where they belong.
  NativeDecoder decoder;
  Decoded out;
  const auto table = rows();
  ASSERT_EQ(table.size(), 16U);
  for (const Row& row : table) {
    const auto read = parse_rfc3339(row.text);
    ASSERT_EQ(read.has_value(), row.valid) << row.text;
    // Through the decoder, received at the time itself so that it is plausible; before 2000 the clock counts as not set.
    const Time received = read.value_or(Time{});
    decoder.decode(TopicKind::telemetry, R"({"pump":true,"time":")" + row.text + "\"}", received, out);
    if (!row.valid) {
      ASSERT_EQ(out.faults.size(), 1U) << row.text;
      EXPECT_EQ(out.faults[0].code, FaultCode::time_unreadable) << row.text;
      continue;
    }
    EXPECT_EQ(ms_since_1970(*read), std::llround(row.unix_s * 1000)) << row.text;
    if (row.unix_s >= 946684800) {
      ASSERT_EQ(out.samples.size(), 1U) << row.text;
      EXPECT_EQ(out.samples[0].time, *read) << row.text;
    } else {
      ASSERT_EQ(out.faults.size(), 1U) << row.text;
      EXPECT_EQ(out.faults[0].code, FaultCode::time_implausible) << row.text;
    }
  }
}

}  // namespace
}  // namespace driftline
