#include <cmath>
#include <nlohmann/json.hpp>

#include "gateway/app/trial/report.h"
#include "rules/records/names.h"
#include "rules/records/time_text.h"

namespace driftline::trial {
namespace {

using Json = nlohmann::ordered_json;

Json or_null(const std::optional<Time>& time) { return time ? Json(rfc3339(*time)) : Json(nullptr); }
Json or_null(const std::optional<int>& line) { return line ? Json(*line) : Json(nullptr); }

double rounded(double value) { return std::round(value * 10000) / 10000; }

Json price_json(const Price& p) {
  return {{"false_a_year", rounded(p.false_a_year)}, {"by_run_length", rounded(p.by_run_length)}, {"lead_days", rounded(p.lead_days)},
          {"lead_days_low", rounded(p.lead_days_low)}};
}

Json episode_json(const Episode& e) {
  return {{"line", or_null(e.line)},       {"condition", name_of(e.condition)},
          {"urgency", name_of(e.urgency)}, {"raised", rfc3339(e.raised)},
          {"cleared", or_null(e.cleared)}, {"cause", e.cause ? Json(name_of(*e.cause)) : Json(nullptr)},
          {"trouble", e.trouble ? Json(*e.trouble) : Json(nullptr)}, {"lead_days", e.trouble ? Json(rounded(e.lead_days)) : Json(nullptr)}};
}

Json candidate_json(const std::string& name, const CandidateResult& result) {
  Json out{{"name", name}, {"warnings", Json::array()}, {"gone", Json::array()}, {"prices", Json::object()}};
  for (std::size_t i = 0; i < result.episodes.size(); ++i) {
    Json episode = episode_json(result.episodes[i]);
    episode["difference"] = name_of(result.differences[i]);
    out["warnings"].push_back(std::move(episode));
  }
  for (const Episode& episode : result.gone) out["gone"].push_back(episode_json(episode));
  for (const auto& [condition, price] : result.prices) out["prices"][std::string(name_of(condition))] = price_json(price);
  out["false_a_year"] = result.prices.empty() ? Json(nullptr) : Json(rounded(result.false_a_year));
  return out;
}

Json station_json(const StationResult& station, const std::vector<std::string>& names) {
  Json out{{"site", station.id.site}, {"station", station.id.station}, {"from", rfc3339(station.from)}, {"to", rfc3339(station.to)},
           {"turns", station.turns},  {"noise_days", rounded(station.quiet_days)}, {"troubles", Json::array()}, {"candidates", Json::array()}};
  for (const Trouble& t : station.troubles)
    out["troubles"].push_back({{"at", rfc3339(t.at)}, {"line", or_null(t.line)}, {"kind", name_of(t.kind)}, {"note", t.note}});
  for (std::size_t c = 0; c < station.candidates.size(); ++c) out["candidates"].push_back(candidate_json(names[c], station.candidates[c]));
  return out;
}

Json step_json(const CurveStep& s) {
  return {{"value", s.value}, {"false_a_year", rounded(s.false_a_year)}, {"by_run_length", rounded(s.by_run_length)}, {"lead_days", rounded(s.lead_days)},
          {"lead_days_low", rounded(s.lead_days_low)}, {"warnings", s.warnings}, {"before_trouble", s.before_trouble}};
}

Json suggestion_json(const Suggestion& s) {
  Json out{{"stations", Json::array()}, {"alike", s.alike}, {"noise_days", rounded(s.days)}};
  for (const StationId& id : s.stations) out["stations"].push_back(id.site + "/" + id.station);
  if (s.why_none) {
    out["why_none"] = *s.why_none;
    return out;
  }
  out["budget"] = s.budget;
  out["meets_budget"] = s.meets_budget;
  out["meets_lead"] = s.meets_lead ? Json(*s.meets_lead) : Json(nullptr);
  out["false_in_force"] = rounded(s.false_now);
  out["false_suggested"] = rounded(s.false_then);
  for (const Evidence& e : s.evidence)
    out["evidence"].push_back({{"condition", name_of(e.condition)}, {"share", rounded(e.share)}, {"shift_in_force_pct", e.shift_now},
                               {"shift_suggested_pct", e.shift_then}, {"in_force", price_json(e.now)}, {"suggested", price_json(e.then)}});
  out["thresholds"] = Json::parse(s.patch);
  return out;
}

std::string csv_text(std::string_view text) {  // RFC 4180
  std::string out = "\"";
  for (const char c : text) out += c == '"' ? std::string("\"\"") : std::string(1, c);
  return out + "\"";
}

}  // namespace

std::string report_json(const TrialReport& report, const std::vector<PriceCurve>& curves, const std::vector<Suggestion>& suggestions) {
  Json out{{"until", rfc3339(report.until)}, {"names", report.names}, {"stations", Json::array()}, {"curves", Json::array()},
           {"suggestions", Json::array()}, {"problems", report.problems}};
  for (const StationResult& station : report.stations) out["stations"].push_back(station_json(station, report.names));
  for (const PriceCurve& curve : curves) {
    Json one{{"threshold", curve.name}, {"steps", Json::array()}, {"knee", curve.knee ? Json(*curve.knee) : Json(nullptr)}};
    for (const CurveStep& step : curve.steps) one["steps"].push_back(step_json(step));
    if (curve.in_force) one["in_force"] = step_json(*curve.in_force);
    out["curves"].push_back(std::move(one));
  }
  for (const Suggestion& s : suggestions) out["suggestions"].push_back(suggestion_json(s));
  return out.dump(1, ' ', false, Json::error_handler_t::replace) + "\n";
}

std::string warnings_csv(const TrialReport& report) {
  std::string out = "site,station,candidate,line,condition,urgency,raised,cleared,difference,trouble,trouble_at,lead_days\n";
  for (const StationResult& station : report.stations)
    for (std::size_t c = 0; c < station.candidates.size(); ++c) {
      const CandidateResult& result = station.candidates[c];
      const auto row = [&](const Episode& e, std::string_view difference) {
        out += station.id.site + "," + station.id.station + "," + csv_text(report.names[c]) + "," + (e.line ? std::to_string(*e.line) : "") + "," +
               std::string(name_of(e.condition)) + "," + std::string(name_of(e.urgency)) + "," + rfc3339(e.raised) + "," +
               (e.cleared ? rfc3339(*e.cleared) : "") + "," + std::string(difference) + ",";
        if (e.trouble)
          out += std::string(name_of(station.troubles[*e.trouble].kind)) + "," + rfc3339(station.troubles[*e.trouble].at) + "," + Json(rounded(e.lead_days)).dump();
        else
          out += ",,";
        out += "\n";
      };
      for (std::size_t i = 0; i < result.episodes.size(); ++i) row(result.episodes[i], name_of(result.differences[i]));
      for (const Episode& episode : result.gone) row(episode, name_of(Difference::gone));
    }
  return out;
}

std::string prices_csv(const TrialReport& report) {
  std::string out = "site,station,candidate,condition,false_a_year,by_run_length,lead_days,lead_days_low\n";
  for (const StationResult& station : report.stations)
    for (std::size_t c = 0; c < station.candidates.size(); ++c)
      for (const auto& [condition, p] : station.candidates[c].prices)
        out += station.id.site + "," + station.id.station + "," + csv_text(report.names[c]) + "," + std::string(name_of(condition)) + "," +
               Json(rounded(p.false_a_year)).dump() + "," + Json(rounded(p.by_run_length)).dump() + "," + Json(rounded(p.lead_days)).dump() + "," +
               Json(rounded(p.lead_days_low)).dump() + "\n";
  return out;
}

}  // namespace driftline::trial
