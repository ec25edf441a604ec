#include "gateway/messages/picture.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdio>
#include <fstream>

#include "tests/unit/messages/plant_of_warnings.h"

namespace driftline::messages {
namespace {

Trend rising() {
  Trend trend{.figure = "time_to_pressure_s", .points = {}, .from = monday_noon - std::chrono::hours{720}, .to = monday_noon, .limit = 110.0, .since = monday_noon - std::chrono::hours{200}};
  for (int h = 0; h < 720; h += 6) trend.points.push_back({trend.from + std::chrono::hours{h}, h < 520 ? 87.0 + h % 5 : 87.0 + (h - 520) / 20.0, 88.0});
  trend.low = 87;
  trend.high = 97;
  return trend;
}

// As Python's zlib and struct read it: chunks, their sums (ISO/IEC 15948, 5.3), and one filter byte a row.
std::string as_python_reads(const std::string& png) {
  const journal::Folder folder;
  std::ofstream(folder.path() + "/trend.png", std::ios::binary) << png;
  std::ofstream(folder.path() + "/read.py") << R"(
import struct, sys, zlib
b = open(sys.argv[1], 'rb').read()
assert b[:8] == b'\x89PNG\r\n\x1a\n'
at, kinds, data = 8, [], b''
while at < len(b):
    size, kind = struct.unpack('>I4s', b[at:at + 8])
    body = b[at + 8:at + 8 + size]
    assert struct.unpack('>I', b[at + 8 + size:at + 12 + size])[0] == zlib.crc32(kind + body), kind
    kinds.append(kind.decode())
    if kind == b'IHDR': width, height, depth, colour = struct.unpack('>IIBB', body[:10])
    if kind == b'PLTE': inks = len(body) // 3
    if kind == b'IDAT': data += body
    at += 12 + size
rows = zlib.decompress(data)
assert len(rows) == height * (width + 1) and depth == 8 and colour == 3
assert all(rows[y * (width + 1)] == 0 for y in range(height)) and max(rows) < inks
print(','.join(kinds), width, height, len(set(rows)), end='')
)";
  FILE* pipe = ::popen(("/usr/bin/python3 " + folder.path() + "/read.py " + folder.path() + "/trend.png 2>&1").c_str(), "r");
  std::string out;
  char bytes[4096];
  for (std::size_t n = 0; (n = std::fread(bytes, 1, sizeof bytes, pipe)) > 0;) out.append(bytes, n);
  ::pclose(pipe);
  return out;
}

// A picture that a mail program cannot read is a broken square where the trend should be.
TEST(TrendPicture, is_a_png_with_every_ink_in_it) { EXPECT_EQ(as_python_reads(png_of(rising())), "IHDR,PLTE,IDAT,IEND 640 200 6"); }

TEST(TrendPicture, draws_figures_that_do_not_move_and_leaves_out_a_limit_that_is_far_off) {
  // A division by nothing, or a trend pressed flat by a limit that is not in question.
  Trend flat = rising();
  for (TrendPoint& point : flat.points) point = {point.time, 50, {}};
  flat.low = flat.high = 50;
  flat.limit = 500;
  EXPECT_FALSE(limit_is_in_view(flat));
  EXPECT_THAT(as_python_reads(png_of(flat)), ::testing::StartsWith("IHDR,PLTE,IDAT,IEND 640 200"));
  EXPECT_TRUE(limit_is_in_view(rising()));
  EXPECT_LT(png_of(rising()).size(), 8'000U) << "a mail of many kilobytes is slow where the signal is weak";
}

}  // namespace
}  // namespace driftline::messages
