#include "gateway/app/trial/desk.h"

#include <algorithm>
#include <nlohmann/json.hpp>

#include "gateway/app/rollout.h"
#include "gateway/app/trial/silent_compare.h"

namespace driftline::trial {
namespace {

using Json = nlohmann::ordered_json;

constexpr int days_most = 366;
constexpr std::size_t differences_told_most = 100;

Json json_of(const rollout::Proposal& p) {
  Json out{{"name", p.name}, {"for", p.target}, {"thresholds", Json::parse(p.thresholds)}, {"state", name_of(p.state())}, {"done", Json::array()}};
  for (const rollout::Done& done : p.done)
    out["done"].push_back({{"act", name_of(done.act)}, {"at_ms", ms_since_1970(done.at)}, {"by", done.by}, {"why", done.why}, {"days", done.days}});
  return out;
}

std::string text(const Json& json) { return json.dump(-1, ' ', false, Json::error_handler_t::replace); }

// Null before anything has been judged in silence.
Json silence_json(const rollout::Proposal& proposal, const ConfigOutcome& config, const std::string& data_folder) {
  if (proposal.last(rollout::Act::silent) == nullptr) return nullptr;
  const auto comparison = compare_silent(data_folder, proposal, rollout::stations_of(proposal, config));
  if (!comparison) return nullptr;
  std::vector<std::string> differences = lines_of(*comparison);
  if (differences.size() > differences_told_most) differences.resize(differences_told_most);
  return {{"words", words_of(*comparison)}, {"differences", differences}, {"until_ms", ms_since_1970(comparison->until)}};
}

// Whom a proposal can be for, but for single stations; the largest last.
Json groups_json(const ConfigOutcome& config) {
  std::map<std::string, std::vector<std::string>> sites;
  std::map<std::string, std::vector<std::string>> kinds;
  std::vector<std::string> all;
  for (const auto& [id, place] : config.places) {
    all.push_back(id.site + "/" + id.station);
    sites["site " + id.site].push_back(all.back());
    if (const auto kind = config.kinds.find(id); kind != config.kinds.end()) kinds["kind " + kind->second].push_back(all.back());
  }
  Json groups = Json::array();
  for (const auto* of : {&kinds, &sites})
    for (const auto& [name, stations] : *of) groups.push_back({{"for", name}, {"stations", stations}});
  groups.push_back({{"for", "all"}, {"stations", all}});
  return groups;
}

struct Body {
  Json json;
  [[nodiscard]] std::string member(const char* name) const {
    const auto found = json.find(name);
    return found != json.end() && found->is_string() ? found->get<std::string>() : "";
  }
};

tl::expected<Body, std::string> read_body(std::string_view body) {
  Body read{Json::parse(body, nullptr, false)};
  if (!read.json.is_object()) return tl::unexpected(std::string("the body is no JSON object"));
  return read;
}

std::string who(const std::string& user, const Body& body) { return user.empty() ? body.member("by") : user; }

constexpr auto no_folder = "the gateway runs without a configuration folder: there is nothing to write to";

}  // namespace

Told proposals_json(const std::string& config_folder, const std::string& data_folder) {
  Json out{{"proposals", Json::array()}, {"groups", Json::array()}};
  if (config_folder.empty()) return text(out);
  const ConfigOutcome config = load_config(config_folder);
  std::vector<ConfigProblem> problems;
  const auto all = rollout::proposals(config_folder, problems);
  for (auto at = all.rbegin(); at != all.rend(); ++at) {
    Json one = json_of(*at);
    one["silence"] = silence_json(*at, config, data_folder);
    out["proposals"].push_back(std::move(one));
  }
  out["groups"] = groups_json(config);
  return text(out);
}

Told propose_json(const std::string& config_folder, const std::string& user, std::string_view body_text, Time now) {
  if (config_folder.empty()) return tl::unexpected(std::string(no_folder));
  const auto body = read_body(body_text);
  if (!body) return tl::unexpected(body.error());
  if (!body->json.contains("thresholds")) return tl::unexpected(std::string("thresholds: missing"));
  const auto proposal = rollout::propose(config_folder, {body->member("for"), body->json["thresholds"].dump(), who(user, *body), body->member("why")}, now);
  if (!proposal) return tl::unexpected(proposal.error());
  return text(json_of(*proposal));
}

Told act_json(const std::string& config_folder, const std::string& user, const std::string& name, std::string_view body_text, Time now) {
  if (config_folder.empty()) return tl::unexpected(std::string(no_folder));
  const auto body = read_body(body_text);
  if (!body) return tl::unexpected(body.error());
  const std::string by = who(user, *body);
  const std::string why = body->member("why");
  const std::string act = body->member("act");
  if (by.empty()) return tl::unexpected(std::string("by: missing: who does it"));
  if (why.empty()) return tl::unexpected(std::string("why: missing: the reason, for those who come later"));
  const auto days = body->json.find("days");
  const int silent_days = days != body->json.end() && days->is_number_integer() ? std::clamp(days->get<int>(), 1, days_most) : 14;
  const auto done = act == "silent"      ? rollout::go_silent(config_folder, name, silent_days, by, why, now)
                    : act == "enforce"   ? rollout::put_in_force(config_folder, name, by, why, now)
                    : act == "take-back" ? rollout::take_back(config_folder, name, by, why, now)
                    : act == "withdraw"  ? rollout::withdraw(config_folder, name, by, why, now)
                                         : rollout::Or<rollout::Outcome>(tl::unexpected(std::string("act: right would be silent, enforce, take-back or withdraw")));
  if (!done) return tl::unexpected(done.error());
  Json out = json_of(done->proposal);
  out["files"] = done->files;
  out["notes"] = done->notes;
  return text(out);
}

}  // namespace driftline::trial
