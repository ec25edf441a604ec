#include <algorithm>
#include <cstdio>
#include <numeric>

#include "gateway/app/trial/report.h"
#include "rules/records/names.h"
#include "rules/records/time_text.h"

namespace driftline::trial {
namespace {

std::string fixed(double value, int digits) {
  char text[64];
  std::snprintf(text, sizeof text, "%.*f", digits, value);
  return text;
}
std::string right(const std::string& text, std::size_t width) {
  return text.size() >= width ? " " + text : std::string(width - text.size(), ' ') + text;
}
std::string left(const std::string& text, std::size_t width) { return text.size() >= width ? text + " " : text + std::string(width - text.size(), ' '); }

std::string minute(Time time) { return rfc3339(time).substr(0, 16) + "Z"; }
std::string day(Time time) { return rfc3339(time).substr(0, 10); }
std::string name_of(const StationId& id) { return id.site + "/" + id.station; }

std::vector<double> leads(const CandidateResult& result) {
  std::vector<double> all;
  for (const Episode& episode : result.episodes)
    if (episode.trouble) all.push_back(episode.lead_days);
  std::sort(all.begin(), all.end());
  return all;
}

std::string median_lead(std::vector<double> all) {
  std::sort(all.begin(), all.end());
  return all.empty() ? "-" : fixed(all[all.size() / 2], 1);
}

int troubles_told(const CandidateResult& result, std::size_t troubles) {
  int told = 0;
  for (std::size_t i = 0; i < troubles; ++i)
    told += std::any_of(result.episodes.begin(), result.episodes.end(), [&](const Episode& e) { return e.trouble == i; }) ? 1 : 0;
  return told;
}

std::string counts(const std::string& name, std::size_t width, int warnings, int before, int told, std::size_t troubles, const std::string& lead,
                   const std::string& cost) {
  return "  " + left(name, width) + right(std::to_string(warnings), 8) + right(std::to_string(before), 9) + right(std::to_string(warnings - before), 7) +
         right(std::to_string(told) + "/" + std::to_string(troubles), 10) + right(lead, 11) + right(cost, 12) + "\n";
}

std::string head(std::size_t width) {
  return "  " + left("", width) + "warnings  before  other  troubles  lead days  false/year\n";
}

std::string episode_row(const Episode& e, const StationResult& station, const std::string& difference) {
  std::string out = "      " + minute(e.raised) + "  " + left(e.line ? "line " + std::to_string(*e.line) : "station", 8) + left(std::string(name_of(e.condition)), 22) +
                    left(std::string(name_of(e.urgency)), 7) + left(e.cleared ? "until " + minute(*e.cleared) : "still open", 25) + left(difference, 9);
  if (e.trouble) {
    const Trouble& trouble = station.troubles[*e.trouble];
    out += fixed(e.lead_days, 1) + " d before " + std::string(name_of(trouble.kind)) + " " + day(trouble.at);
  }
  return out + "\n";
}

}  // namespace

std::string report_table(const TrialReport& report, bool each_warning) {
  std::size_t width = 12;
  for (const std::string& name : report.names) width = std::max(width, name.size() + 2);
  std::string out;
  for (const StationResult& station : report.stations) {
    if (station.candidates.empty()) continue;
    out += name_of(station.id) + ": " + std::to_string(station.turns) + " turns, " + day(station.from) + " to " + day(station.to) + ", noise of " +
           fixed(station.quiet_days, 0) + " days, " + std::to_string(station.troubles.size()) + (station.troubles.size() == 1 ? " trouble\n" : " troubles\n");
    if (&station == &report.stations.front() || each_warning) out += head(width);
    for (std::size_t c = 0; c < station.candidates.size(); ++c) {
      const CandidateResult& result = station.candidates[c];
      out += counts(report.names[c], width, static_cast<int>(result.episodes.size()), result.before_trouble(),
                    troubles_told(result, station.troubles.size()), station.troubles.size(), median_lead(leads(result)),
                    result.prices.empty() ? "-" : fixed(result.false_a_year, 2));
      if (!each_warning) continue;
      for (std::size_t i = 0; i < result.episodes.size(); ++i)
        out += episode_row(result.episodes[i], station, c == 0 ? "" : std::string(name_of(result.differences[i])));
      for (const Episode& episode : result.gone) out += episode_row(episode, station, "gone");
    }
    if (each_warning)
      for (const Trouble& trouble : station.troubles)
        out += "  trouble: " + minute(trouble.at) + " " + std::string(name_of(trouble.kind)) + (trouble.line ? " line " + std::to_string(*trouble.line) : "") +
               (trouble.note.empty() ? "" : ": " + trouble.note.substr(0, 80)) + "\n";
  }
  if (report.stations.size() < 2) return out;
  out += "all " + std::to_string(report.stations.size()) + " stations\n" + head(width);
  for (std::size_t c = 0; c < report.names.size(); ++c) {
    int warnings = 0, before = 0, told = 0, priced = 0;
    std::size_t troubles = 0;
    double cost = 0;
    std::vector<double> all;
    for (const StationResult& station : report.stations) {
      if (c >= station.candidates.size()) continue;
      const CandidateResult& result = station.candidates[c];
      warnings += static_cast<int>(result.episodes.size());
      before += result.before_trouble();
      told += troubles_told(result, station.troubles.size());
      troubles += station.troubles.size();
      const auto own = leads(result);
      all.insert(all.end(), own.begin(), own.end());
      if (result.prices.empty()) continue;
      cost += result.false_a_year;
      ++priced;
    }
    out += counts(report.names[c], width, warnings, before, told, troubles, median_lead(all), priced == 0 ? "-" : fixed(cost / priced, 2) + " mean");
  }
  return out;
}

std::string suggestion_table(const std::vector<Suggestion>& suggestions) {
  std::string out;
  for (const Suggestion& s : suggestions) {
    out += "\nsuggested for";
    for (std::size_t i = 0; i < s.stations.size(); ++i) out += (i == 0 ? " " : ", ") + name_of(s.stations[i]);
    out += " (" + s.alike + (s.stations.size() > 1 ? ", of like scatter)\n" : ")\n");
    if (s.why_none) {
      out += "  " + *s.why_none + "\n";
      continue;
    }
    out += "  on noise of " + fixed(s.days, 0) + " days, for " + fixed(s.budget, 2) + " false warnings a station and year\n" +
           "                          in force: shift %  false/year  lead d    suggested: shift %  false/year  lead d\n";
    for (const Evidence& e : s.evidence)
      out += "  " + left(std::string(name_of(e.condition)), 24) + right(fixed(e.shift_now, 1), 17) + right(fixed(e.now.false_a_year, 3), 12) +
             right(fixed(e.now.lead_days, 1), 8) + right(fixed(e.shift_then, 1), 22) + right(fixed(e.then.false_a_year, 3), 12) +
             right(fixed(e.then.lead_days, 1), 8) + "\n";
    out += "  " + left("all of these", 24) + right(fixed(s.false_now, 3), 29) + right(fixed(s.false_then, 3), 42) + "\n";
    if (!s.meets_budget) out += "  the budget cannot be met on this noise: this is the cheapest that was found\n";
    if (s.meets_lead && !*s.meets_lead) out += "  the lead asked for cannot be had within this budget\n";
    out += s.patch == "{}" ? "  what is in force is as good\n" : "  " + s.patch + "\n";
  }
  return out;
}

}  // namespace driftline::trial
