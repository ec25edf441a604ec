#include <algorithm>
#include <map>

#include "gateway/web/chart.h"
#include "gateway/web/json_text.h"
#include "gateway/web/limits.h"
#include "gateway/web/resources.h"
#include "gateway/web/target.h"
#include "gateway/web/thinning.h"
#include "gateway/web/turns.h"
#include "rules/records/time_text.h"
#include "rules/warnings/text.h"

namespace driftline::web {
namespace {

using Turn = history::Stored<history::HalfCycleRow>;

constexpr double band_deviations = 2;  // what is drawn as usual
constexpr std::int64_t day_ms = 86'400'000;

Or<void> read_looks(const Request& request, Chart& chart) {
  const auto width = whole_number(request.query, "width", 200, 2000, 800);
  if (!width) return tl::unexpected(width.error());
  const auto height = whole_number(request.query, "height", 100, 1200, 320);
  if (!height) return tl::unexpected(height.error());
  const auto theme = one_of(request.query, "theme", {"light", "dark"}, "light");
  if (!theme) return tl::unexpected(theme.error());
  chart.width = static_cast<int>(*width);
  chart.height = static_cast<int>(*height);
  chart.dark = *theme == "dark";
  return {};
}

Answer svg_answer(const Chart& chart) {
  Answer answer;
  answer.type = "image/svg+xml";
  answer.body = std::make_shared<const std::string>(svg_of(chart));
  return answer;
}

struct Figure {
  std::optional<double> value;
  std::optional<UsualFigure> usual;
};

Figure figure_of(const history::HalfCycleRow& row, const std::string& name) {
  const HalfCycle& t = row.half_cycle;
  if (name == "time_to_pressure_s") return {t.time_to_pressure_s, row.usual.time_to_pressure_s};
  if (name == "peak_bar") return {t.peak_bar, row.usual.peak_bar};
  if (name == "residual_bar") return {t.residual_bar, row.usual.residual_bar};
  if (name == "vent_s") return {t.vent_s, row.usual.vent_s};
  if (name == "level_pct") return {t.level_pct, std::nullopt};
  return {t.temp_c, std::nullopt};
}

std::string words_of(const std::string& figure) {
  if (figure == "temp_c") return "Temperature, °C";
  const auto words = rules::words_of_figure(figure);
  return std::string(words.words) + ", " + std::string(words.unit);
}

std::vector<double> day_marks(Time from, Time to) {
  std::vector<double> marks;
  const double days = days_between(from, to);
  const std::int64_t step = std::max<std::int64_t>(1, static_cast<std::int64_t>(days / 8 + 0.99)) * day_ms;
  for (std::int64_t at = (ms_since_1970(from) / day_ms + 1) * day_ms; at <= ms_since_1970(to); at += step) marks.push_back(static_cast<double>(at));
  return marks;
}

ChartSeries series_of(const std::vector<const Turn*>& turns, const std::string& figure, int line, std::size_t points) {
  std::vector<ThinPoint> thinned;
  for (const Turn* turn : turns) {
    const HalfCycle& t = turn->row.half_cycle;
    thinned.push_back({ms_since_1970(t.pump_start), figure_of(turn->row, figure).value, t.outcome == Outcome::not_reached});
  }
  ChartSeries series;
  series.name = "line " + std::to_string(line);
  series.second = line % 2 == 0;
  for (const std::size_t i : thin(thinned, points)) {
    const auto one = figure_of(turns[i]->row, figure);
    ChartPoint point{static_cast<double>(thinned[i].at_ms), one.value, std::nullopt, std::nullopt, thinned[i].keep};
    if (one.usual) {
      point.low = one.usual->expected - band_deviations * one.usual->deviation;
      point.high = one.usual->expected + band_deviations * one.usual->deviation;
    }
    series.points.push_back(point);
  }
  return series;
}

}  // namespace

Or<Answer> station_chart(House& house, const Request& request, Reader* reader) {
  if (const auto known = only(request.query, {"figure", "line", "from_ms", "to_ms", "width", "height", "theme"}); !known) return tl::unexpected(known.error());
  const auto station = station_of(house, request);
  if (!station) return tl::unexpected(station.error());
  const auto span = span_of(house, request, strip_days);
  if (!span) return tl::unexpected(span.error());
  const auto line = whole_number(request.query, "line", 1, lines_max, 0);
  if (!line) return tl::unexpected(line.error());
  const auto figure = one_of(request.query, "figure", {"time_to_pressure_s", "peak_bar", "residual_bar", "vent_s", "level_pct", "temp_c"}, "time_to_pressure_s");
  if (!figure) return tl::unexpected(figure.error());
  Chart chart;
  if (const auto looks = read_looks(request, chart); !looks) return tl::unexpected(looks.error());
  const auto turns = turns_of(*reader, *station, span->from, span->to);
  if (!turns) return of_trouble(turns.error());
  const bool of_station = *figure == "level_pct" || *figure == "temp_c";
  std::map<int, std::vector<const Turn*>> by_line;
  for (const Turn& turn : *turns)
    if (*line == 0 || turn.row.half_cycle.line == *line) by_line[of_station ? 0 : turn.row.half_cycle.line].push_back(&turn);
  chart.title = station->site + "/" + station->station + ", " + rfc3339_date(span->from) + " to " + rfc3339_date(span->to) + " UTC";
  chart.y_words = words_of(*figure);
  chart.x_marks = day_marks(span->from, span->to);
  chart.x_text = [](double x) { return rfc3339_date(time_from_ms(static_cast<std::int64_t>(x))).substr(5); };
  for (const auto& [number, of_line] : by_line) {
    chart.series.push_back(series_of(of_line, *figure, number, static_cast<std::size_t>(chart.width)));
    if (of_station) chart.series.back().name.clear();
  }
  if (*figure == "time_to_pressure_s" && !turns->empty()) {
    chart.limit = turns->back().row.half_cycle.settings.pump_limit_s;
    chart.limit_words = "pump limit";
  }
  return svg_answer(chart);
}

Or<Answer> turn_chart(House& house, const Request& request, Reader* reader) {
  if (const auto known = only(request.query, {"width", "height", "theme"}); !known) return tl::unexpected(known.error());
  Chart chart;
  if (const auto looks = read_looks(request, chart); !looks) return tl::unexpected(looks.error());
  const auto found = turn_of(house, request, *reader);
  if (!found) return tl::unexpected(found.error());
  const HalfCycle& turn = found->turn.row.half_cycle;
  const auto curve_of = [](const HalfCycle& t, std::string name, bool second) {
    ChartSeries series{std::move(name), second, {}};
    for (const CurvePoint& p : t.shape.curve) series.points.push_back({p.after_s, p.bar, std::nullopt, std::nullopt, false});
    return series;
  };
  chart.title = found->turn.row.station.site + "/" + found->turn.row.station.station + " line " + std::to_string(turn.line) + ", turn of " + rfc3339(turn.pump_start).substr(0, 16) + "Z";
  chart.y_words = "Pressure, bar";
  chart.series.push_back(curve_of(turn, "this turn", false));
  if (found->healthy) chart.series.push_back(curve_of(found->healthy->row.half_cycle, "in good order", true));
  double longest = 0;
  for (const ChartSeries& series : chart.series)
    if (!series.points.empty()) longest = std::max(longest, series.points.back().x);
  chart.x_marks = round_marks(0, longest, 8);
  chart.x_text = [](double x) {
    std::string text;
    append_rounded(text, x, 0);
    return text + " s";
  };
  chart.limit = turn.settings.target_bar;
  chart.limit_words = "target";
  return svg_answer(chart);
}

}  // namespace driftline::web
