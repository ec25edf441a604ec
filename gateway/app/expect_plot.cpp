// The plots of `driftline expect`: in the terminal, and as SVG.
#include <algorithm>
#include <cstdio>
#include <map>

#include "gateway/app/expect_text.h"

namespace driftline {
namespace {

using hydraulics::Expectation;
using hydraulics::ExpectedTurn;

constexpr std::size_t columns = 60;  // of a bar in the terminal
constexpr double longest_drawn_m = 120;

std::string fixed(double value, int decimals) {
  char text[48];
  std::snprintf(text, sizeof text, "%.*f", decimals, value);
  return text;
}

std::string right(const std::string& text, std::size_t width) {
  return text.size() < width ? std::string(width - text.size(), ' ') + text : text;
}

// "====|==": the value as a bar, the mark where `mark` lies.
std::string bar(double value, double mark, double whole) {
  const auto at = [&](double x) {
    return static_cast<std::size_t>(std::clamp(x / whole, 0.0, 1.0) * static_cast<double>(columns));
  };
  std::string out(at(value), '=');
  if (mark <= 0) return out;
  if (out.size() <= at(mark)) out.resize(at(mark) + 1, ' ');
  out[at(mark)] = '|';
  return out;
}

double built_m(const NamedDesign& station, int line) {
  return station.design.lines[static_cast<std::size_t>(line - 1)].length_m.value_or(0);
}

struct Panel {
  std::string title;
  double top = 1;
  double (*value)(const ExpectedTurn&);
};

double time_of(const ExpectedTurn& t) {
  return t.time_to_pressure_s.value_or(-1);
}
double longest_of(const ExpectedTurn& t) {
  return std::min(longest_drawn_m, t.longest_line_m);
}

double largest(const Expectation& e, double (*value)(const ExpectedTurn&), double least) {
  for (const ExpectedTurn& t : e.turns) least = std::max(least, value(t));
  return least;
}

// A drawing 300 high from `from_y` on: one curve a line against temperature.
class Drawing {
 public:
  Drawing(const Expectation& e, const Panel& panel, double from_y) : e_(e), panel_(panel), from_y_(from_y) {
    for (const ExpectedTurn& t : e.turns) {
      cold_ = std::min(cold_, t.temp_c);
      warm_ = std::max(warm_, t.temp_c);
    }
    if (warm_ <= cold_) warm_ = cold_ + 1;
  }

  [[nodiscard]] std::string frame() const {
    std::string out = "<text x=\"60\" y=\"" + fixed(from_y_ + 16, 0) + "\">" + panel_.title +
                      "</text>\n<path d=\"M60 " + fixed(from_y_ + 26, 0) + "V" + fixed(from_y_ + 270, 0) +
                      "H620\" fill=\"none\" stroke=\"#555\"/>\n";
    for (int i = 0; i <= 4; ++i)
      out += "<text x=\"52\" y=\"" + y(panel_.top * i / 4) + "\" text-anchor=\"end\">" +
             fixed(panel_.top * i / 4, 0) + "</text>\n";
    for (const ExpectedTurn& t : e_.turns)
      if (t.line == e_.turns[0].line)
        out += "<text x=\"" + x(t.temp_c) + "\" y=\"" + fixed(from_y_ + 288, 0) +
               "\" text-anchor=\"middle\">" + fixed(t.temp_c, 0) + "</text>\n";
    return out;
  }
  [[nodiscard]] std::string curve(int line, const std::string& colour) const {
    std::string points;
    for (const ExpectedTurn& t : e_.turns)
      if (t.line == line && panel_.value(t) >= 0) points += x(t.temp_c) + "," + y(panel_.value(t)) + " ";
    return "<polyline fill=\"none\" stroke=\"" + colour + "\" stroke-width=\"2\" points=\"" + points +
           "\"/>\n";
  }
  [[nodiscard]] std::string mark(double value, const std::string& colour) const {
    return "<path d=\"M60 " + y(value) + "H620\" stroke=\"" + colour + "\" stroke-dasharray=\"6 4\"/>\n";
  }

 private:
  [[nodiscard]] std::string x(double c) const { return fixed(60 + 560 * (c - cold_) / (warm_ - cold_), 1); }
  [[nodiscard]] std::string y(double value) const {
    return fixed(from_y_ + 270 - 240 * std::clamp(value / panel_.top, 0.0, 1.0), 1);
  }
  const Expectation& e_;
  const Panel& panel_;
  double from_y_;
  double cold_ = 1e9, warm_ = -1e9;
};

}  // namespace

std::string expectation_plot(const NamedDesign& station, const Expectation& e) {
  std::string out;
  const double slowest_s = 1.15 * largest(e, time_of, e.pump_limit_s);
  int line = 0;
  for (auto at = e.turns.begin(); at != e.turns.end();) {
    line = at->line;
    const auto end = std::find_if(at, e.turns.end(), [&](const ExpectedTurn& t) { return t.line != line; });
    const std::string which = std::to_string(line);
    out += "  time to pressure, line " + which + " (| the pump limit, " + fixed(e.pump_limit_s, 0) + " s)\n";
    for (auto t = at; t != end; ++t)
      out += right(fixed(t->temp_c, 0), 6) + " C " +
             (t->time_to_pressure_s ? bar(time_of(*t), e.pump_limit_s, slowest_s) : "never reached") + "\n";
    double longest_m = built_m(station, line);
    for (auto t = at; t != end; ++t) longest_m = std::max(longest_m, longest_of(*t));
    out += "  longest line that works, line " + which + " (| as designed; full width " +
           fixed(1.1 * longest_m, 0) + " m)\n";
    for (; at != end; ++at)
      out += right(fixed(at->temp_c, 0), 6) + " C " +
             bar(longest_of(*at), built_m(station, line), 1.1 * longest_m) + "\n";
  }
  return out;
}

std::string expectation_svg(const NamedDesign& station, const Expectation& e) {
  if (e.turns.empty()) return {};
  double longest_m = 10;
  for (const ExpectedTurn& t : e.turns)
    longest_m = std::max({longest_m, longest_of(t), built_m(station, t.line)});
  const Panel time{"time to pressure [s] against temperature [C]; dashed: the pump limit",
                   1.15 * largest(e, time_of, e.pump_limit_s), time_of};
  const Panel length{"longest line that works [m] against temperature [C]; dashed: as designed",
                     1.1 * longest_m, longest_of};
  const Drawing upper(e, time, 30), lower(e, length, 340);
  std::string out =
      "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 660 670\" font-family=\"sans-serif\" "
      "font-size=\"12\">\n<title>" +
      station.name +
      ": what the design gives</title>\n<rect width=\"660\" height=\"670\" fill=\"#fff\"/>\n<text x=\"60\" "
      "y=\"20\" font-weight=\"bold\">" +
      station.name + "</text>\n" + upper.frame() + upper.mark(e.pump_limit_s, "#555") + lower.frame();
  static constexpr const char* colours[] = {"#0b62a4", "#b3541e", "#2e7d32", "#6a1b9a"};
  int drawn = 0;
  for (const ExpectedTurn& t : e.turns) {
    if (t.line == drawn) continue;
    drawn = t.line;
    const std::string colour = colours[(drawn - 1) % 4];
    out += upper.curve(drawn, colour) + lower.curve(drawn, colour);
    if (built_m(station, drawn) > 0) out += lower.mark(built_m(station, drawn), colour);
    out += "<text x=\"" + std::to_string(60 + 70 * (drawn - 1)) + "\" y=\"655\" fill=\"" + colour +
           "\">line " + std::to_string(drawn) + "</text>\n";
  }
  return out + "</svg>\n";
}

}  // namespace driftline
