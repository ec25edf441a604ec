#include "gateway/messages/picture.h"

#include <zlib.h>

#include <algorithm>
#include <array>
#include <cmath>

namespace driftline::messages {
namespace {

enum Ink : unsigned char { paper, frame, shade, ink, dashes, red };
constexpr std::array<unsigned char, 18> palette{255, 255, 255, 200, 200, 200, 255, 243, 224, 30, 60, 90, 120, 120, 120, 200, 40, 30};
constexpr double limit_in_view = 1.6;  // a limit farther off than this many heights of the data is left out
constexpr int margin = 10;

class Sheet {
 public:
  void put(int x, int y, Ink what) {
    if (x >= 0 && x < picture_width && y >= 0 && y < picture_height) pixels_[static_cast<std::size_t>(y * picture_width + x)] = what;
  }
  void block(int x0, int y0, int x1, int y1, Ink what) {
    for (int y = y0; y <= y1; ++y)
      for (int x = x0; x <= x1; ++x) put(x, y, what);
  }
  void dot(int x, int y, int radius, Ink what) {
    for (int dy = -radius; dy <= radius; ++dy)
      for (int dx = -radius; dx <= radius; ++dx)
        if (dx * dx + dy * dy <= radius * radius) put(x + dx, y + dy, what);
  }
  // Each row begins with its filter: none.
  [[nodiscard]] std::string rows() const {
    std::string out;
    for (int y = 0; y < picture_height; ++y) {
      out += '\0';
      for (int x = 0; x < picture_width; ++x) out += static_cast<char>(pixels_[static_cast<std::size_t>(y * picture_width + x)]);
    }
    return out;
  }

 private:
  std::vector<unsigned char> pixels_ = std::vector<unsigned char>(static_cast<std::size_t>(picture_width) * picture_height, paper);
};

std::string four(std::uint32_t value) {
  return {static_cast<char>(value >> 24), static_cast<char>(value >> 16), static_cast<char>(value >> 8), static_cast<char>(value)};
}

std::string chunk(const std::string& kind, const std::string& data) {
  const std::string body = kind + data;
  const auto crc = static_cast<std::uint32_t>(::crc32(0, reinterpret_cast<const unsigned char*>(body.data()), static_cast<unsigned>(body.size())));
  return four(static_cast<std::uint32_t>(data.size())) + body + four(crc);
}

std::string deflated(const std::string& bytes) {
  uLongf size = ::compressBound(bytes.size());
  std::string out(size, '\0');
  ::compress2(reinterpret_cast<unsigned char*>(out.data()), &size, reinterpret_cast<const unsigned char*>(bytes.data()), bytes.size(), 9);
  out.resize(size);
  return out;
}

struct Scale {
  double low, high;
  Time from, to;
  [[nodiscard]] int y(double value) const { return margin + static_cast<int>(std::lround((high - value) / (high - low) * (picture_height - 1 - 2 * margin))); }
  [[nodiscard]] int x(Time time) const {
    const double whole = static_cast<double>(std::max<std::int64_t>(1, (to - from).count()));
    return margin + static_cast<int>(std::lround(static_cast<double>((time - from).count()) / whole * (picture_width - 1 - 2 * margin)));
  }
};

Scale scale_of(const Trend& trend) {
  Scale scale{trend.low, trend.high, trend.from, trend.to};
  for (const TrendPoint& point : trend.points)
    if (point.usual) {
      scale.low = std::min(scale.low, *point.usual);
      scale.high = std::max(scale.high, *point.usual);
    }
  const double height = std::max(scale.high - scale.low, std::max(0.05 * std::abs(scale.high), 1e-6));
  if (trend.limit && *trend.limit > scale.high && *trend.limit - scale.high < limit_in_view * height) scale.high = *trend.limit;
  if (trend.limit && *trend.limit < scale.low && scale.low - *trend.limit < limit_in_view * height) scale.low = *trend.limit;
  if (scale.high - scale.low < height) scale.high = scale.low + height;
  return scale;
}

Sheet drawn(const Trend& trend) {
  Sheet sheet;
  const Scale scale = scale_of(trend);
  if (trend.since && *trend.since < trend.to) sheet.block(scale.x(std::max(*trend.since, trend.from)), 0, picture_width - 1 - margin, picture_height - 1, shade);
  for (Time day = std::chrono::ceil<std::chrono::days>(trend.from); day < trend.to; day += std::chrono::days{7}) sheet.block(scale.x(day), 0, scale.x(day), picture_height - 1, frame);
  if (trend.limit && *trend.limit >= scale.low && *trend.limit <= scale.high)
    sheet.block(margin, scale.y(*trend.limit) - 1, picture_width - 1 - margin, scale.y(*trend.limit) + 1, red);
  for (const TrendPoint& point : trend.points)
    if (point.usual && scale.x(point.time) % 12 < 7) sheet.block(scale.x(point.time), scale.y(*point.usual) - 1, scale.x(point.time) + 1, scale.y(*point.usual), dashes);
  for (const TrendPoint& point : trend.points) sheet.dot(scale.x(point.time), scale.y(point.value), 3, ink);
  sheet.block(0, 0, picture_width - 1, 0, frame);
  sheet.block(0, picture_height - 1, picture_width - 1, picture_height - 1, frame);
  return sheet;
}

}  // namespace

bool limit_is_in_view(const Trend& trend) {
  if (!trend.limit) return false;
  const Scale scale = scale_of(trend);
  return *trend.limit >= scale.low && *trend.limit <= scale.high;
}

std::string png_of(const Trend& trend) {
  const std::string head = four(picture_width) + four(picture_height) + std::string{8, 3, 0, 0, 0};  // 8 bits, palette
  return std::string("\x89PNG\r\n\x1a\n", 8) + chunk("IHDR", head) + chunk("PLTE", std::string(palette.begin(), palette.end())) +
         chunk("IDAT", deflated(drawn(trend).rows())) + chunk("IEND", {});
}

}  // namespace driftline::messages
