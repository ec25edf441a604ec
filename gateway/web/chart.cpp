#include "gateway/web/chart.h"

#include <algorithm>
#include <cmath>

#include "gateway/web/json_text.h"

namespace driftline::web {
namespace {

struct Inks {
  const char* ground;
  const char* text;
  const char* grid;
  const char* first;
  const char* second;
  const char* band;
  const char* limit;
};
constexpr Inks light{"#ffffff", "#33312c", "#dcd8cf", "#1f5f8b", "#8a5a1c", "#1f5f8b", "#a3261b"};
constexpr Inks dark{"#1d1c1a", "#e6e2d8", "#413e38", "#7db9e3", "#d9a55f", "#7db9e3", "#f0897d"};

std::string escaped(const std::string& text) {
  std::string out;
  for (const char c : text) {
    if (c == '&') out += "&amp;";
    else if (c == '<') out += "&lt;";
    else if (c == '>') out += "&gt;";
    else if (c == '"') out += "&quot;";
    else out += c;
  }
  return out;
}

std::string number(double value, int decimals = 1) {
  std::string out;
  append_rounded(out, value, decimals);
  return out;
}

class Drawing {
 public:
  explicit Drawing(const Chart& chart) : chart_(chart), inks_(chart.dark ? dark : light) { measure(); }

  std::string svg() {
    out_ = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"" + std::to_string(chart_.width) + "\" height=\"" + std::to_string(chart_.height) +
           "\" viewBox=\"0 0 " + std::to_string(chart_.width) + " " + std::to_string(chart_.height) + "\" role=\"img\" font-family=\"sans-serif\" font-size=\"12\">\n";
    out_ += "<title>" + escaped(chart_.title) + "</title>\n<rect width=\"100%\" height=\"100%\" fill=\"" + std::string(inks_.ground) + "\"/>\n";
    text(left, 18, chart_.title, "start", true);
    axes();
    if (empty_) text((left + right_) / 2, (top + bottom_) / 2, "nothing is known of this time", "middle");
    for (const ChartSeries& series : chart_.series) band(series);
    if (chart_.limit) limit();
    for (const ChartSeries& series : chart_.series) line(series);
    legend();
    return out_ + "</svg>\n";
  }

 private:
  static constexpr double left = 62, top = 44;

  void measure() {
    for (const ChartSeries& series : chart_.series)
      for (const ChartPoint& p : series.points) {
        x_low_ = empty_x_ ? p.x : std::min(x_low_, p.x);
        x_high_ = empty_x_ ? p.x : std::max(x_high_, p.x);
        empty_x_ = false;
        for (const auto& y : {p.y, p.low, p.high}) {
          if (!y) continue;
          y_low_ = empty_ ? *y : std::min(y_low_, *y);
          y_high_ = empty_ ? *y : std::max(y_high_, *y);
          empty_ = false;
        }
      }
    for (const double mark : chart_.x_marks) {
      x_low_ = empty_x_ ? mark : std::min(x_low_, mark);
      x_high_ = empty_x_ ? mark : std::max(x_high_, mark);
      empty_x_ = false;
    }
    // A limit far away would press the series flat.
    if (chart_.limit && !empty_ && *chart_.limit < y_high_ + 2 * (y_high_ - y_low_ + 1)) y_high_ = std::max(y_high_, *chart_.limit);
    const double room = std::max(0.06 * (y_high_ - y_low_), 0.01 * std::abs(y_high_) + 1e-6);
    y_low_ -= room;
    y_high_ += room;
    if (x_high_ <= x_low_) x_high_ = x_low_ + 1;
  }

  [[nodiscard]] double x_of(double x) const { return left + (x - x_low_) / (x_high_ - x_low_) * (right_ - left); }
  [[nodiscard]] double y_of(double y) const { return bottom_ - (y - y_low_) / (y_high_ - y_low_) * (bottom_ - top); }

  void text(double x, double y, const std::string& words, const char* anchor, bool bold = false) {
    out_ += "<text x=\"" + number(x) + "\" y=\"" + number(y) + "\" fill=\"" + inks_.text + "\" text-anchor=\"" + anchor + "\"" + (bold ? " font-weight=\"bold\"" : "") + ">" +
            escaped(words) + "</text>\n";
  }
  void stroke(double x1, double y1, double x2, double y2, const char* ink, const char* more = "") {
    out_ += "<line x1=\"" + number(x1) + "\" y1=\"" + number(y1) + "\" x2=\"" + number(x2) + "\" y2=\"" + number(y2) + "\" stroke=\"" + ink + "\"" + more + "/>\n";
  }

  void axes() {
    if (!empty_)
      for (const double mark : round_marks(y_low_, y_high_, 5)) {
        stroke(left, y_of(mark), right_, y_of(mark), inks_.grid);
        text(left - 6, y_of(mark) + 4, number(mark, 2), "end");
      }
    for (const double mark : chart_.x_marks) {
      stroke(x_of(mark), bottom_, x_of(mark), bottom_ + 4, inks_.text);
      text(x_of(mark), bottom_ + 18, chart_.x_text(mark), "middle");
    }
    stroke(left, bottom_, right_, bottom_, inks_.text);
    text(left, 36, chart_.y_words, "start");
  }

  [[nodiscard]] const char* ink_of(const ChartSeries& series) const { return series.second ? inks_.second : inks_.first; }

  // Where neighbours have a band, the area between them.
  void band(const ChartSeries& series) {
    std::string upper;
    std::string lower;
    const auto close = [&] {
      if (!upper.empty()) out_ += "<path d=\"M" + upper.substr(1) + lower + "Z\" fill=\"" + ink_of(series) + "\" fill-opacity=\"0.14\"/>\n";
      upper.clear();
      lower.clear();
    };
    for (const ChartPoint& p : series.points) {
      if (!p.low || !p.high) {
        close();
        continue;
      }
      upper += "L" + number(x_of(p.x)) + " " + number(y_of(*p.high));
      lower.insert(0, "L" + number(x_of(p.x)) + " " + number(y_of(*p.low)));
    }
    close();
  }

  void line(const ChartSeries& series) {
    std::string path;
    bool on = false;
    for (const ChartPoint& p : series.points) {
      if (p.y) path += (on ? "L" : "M") + number(x_of(p.x)) + " " + number(y_of(*p.y));
      on = p.y.has_value();
    }
    if (!path.empty())
      out_ += "<path d=\"" + path + "\" fill=\"none\" stroke=\"" + ink_of(series) + "\" stroke-width=\"1.6\" stroke-linejoin=\"round\"" +
              (series.second ? " stroke-dasharray=\"6 3\"" : "") + "/>\n";
    for (const ChartPoint& p : series.points)
      if (p.missed) out_ += "<path d=\"M" + number(x_of(p.x) - 4) + " " + number(top - 4) + "h8l-4 7Z\" fill=\"" + inks_.limit + "\"><title>target pressure not reached</title></path>\n";
  }

  void limit() {
    if (*chart_.limit < y_low_ || *chart_.limit > y_high_) return;
    stroke(left, y_of(*chart_.limit), right_, y_of(*chart_.limit), inks_.limit, " stroke-dasharray=\"2 3\"");
    text(right_, y_of(*chart_.limit) - 4, chart_.limit_words, "end");
  }

  void legend() {
    double x = right_;
    for (auto series = chart_.series.rbegin(); series != chart_.series.rend(); ++series) {
      text(x, 36, series->name, "end");
      x -= 7.0 * static_cast<double>(series->name.size()) + 6;
      stroke(x - 24, 32, x, 32, ink_of(*series), series->second ? " stroke-width=\"2\" stroke-dasharray=\"6 3\"" : " stroke-width=\"2\"");
      x -= 36;
    }
  }

  const Chart& chart_;
  const Inks inks_;
  const double right_ = chart_.width - 18;
  const double bottom_ = chart_.height - 30;
  double x_low_ = 0, x_high_ = 1, y_low_ = 0, y_high_ = 1;
  bool empty_ = true, empty_x_ = true;
  std::string out_;
};

}  // namespace

std::vector<double> round_marks(double low, double high, int count) {
  std::vector<double> marks;
  if (!(high > low) || count < 1) return marks;
  const double rough = (high - low) / count;
  const double power = std::pow(10, std::floor(std::log10(rough)));
  double step = 10 * power;
  for (const double times : {1.0, 2.0, 5.0})
    if (rough <= times * power) {
      step = times * power;
      break;
    }
  for (double mark = std::ceil(low / step) * step; mark <= high + 1e-9 * step; mark += step) marks.push_back(std::abs(mark) < step / 1000 ? 0 : mark);
  return marks;
}

std::string svg_of(const Chart& chart) { return Drawing(chart).svg(); }

}  // namespace driftline::web
