#include "gateway/app/rollout.h"

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <filesystem>
#include <fstream>
#include <map>
#include <nlohmann/json.hpp>
#include <sstream>

#include "gateway/app/config_edit.h"
#include "gateway/app/config_json.h"
#include "gateway/app/config_schema.h"
#include "gateway/app/thresholds_json.h"
#include "rules/records/time_text.h"

namespace driftline::rollout {
namespace {

namespace fs = std::filesystem;
using OrderedJson = nlohmann::ordered_json;

constexpr std::size_t text_most = 2'000;
constexpr std::size_t proposals_a_day_most = 1'000;
constexpr std::array<Act, 6> acts{Act::proposed, Act::silent, Act::in_force, Act::taken_back, Act::withdrawn, Act::compared};

fs::path folder_of(const std::string& config) { return fs::path(config) / "proposals"; }

// Held while a folder is changed.
class Lock {
 public:
  explicit Lock(const std::string& config) {
    std::error_code ignored;
    fs::create_directories(folder_of(config), ignored);
    file_ = ::open((folder_of(config) / ".lock").c_str(), O_CREAT | O_RDWR | O_CLOEXEC, 0640);
    held_ = file_ >= 0 && ::flock(file_, LOCK_EX | LOCK_NB) == 0;
  }
  Lock(const Lock&) = delete;
  Lock& operator=(const Lock&) = delete;
  ~Lock() {
    if (file_ >= 0) ::close(file_);
  }
  [[nodiscard]] bool held() const { return held_; }

 private:
  int file_ = -1;
  bool held_ = false;
};
constexpr auto not_held = "the configuration folder cannot be written, or another change of it is under way";

std::optional<std::string> text_of_file(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  if (!in.is_open()) return std::nullopt;
  std::ostringstream text;
  text << in.rdbuf();
  return text.str();
}

// Appears whole or not at all.
bool write_file(const fs::path& file, const std::string& text) {
  std::error_code failed;
  fs::create_directories(file.parent_path(), failed);
  const fs::path beside = file.string() + ".part";
  {
    std::ofstream out(beside, std::ios::binary | std::ios::trunc);
    out << text;
    out.flush();
    if (!out) return false;
  }
  fs::rename(beside, file, failed);
  return !failed;
}

std::optional<Act> act_named(std::string_view name) {
  for (const Act act : acts)
    if (name_of(act) == name) return act;
  return std::nullopt;
}

OrderedJson json_of(const Proposal& p) {
  OrderedJson out{{"for", p.target}, {"thresholds", OrderedJson::parse(p.thresholds)}, {"done", OrderedJson::array()}};
  for (const Done& done : p.done) {
    OrderedJson one{{"act", name_of(done.act)}, {"at", rfc3339(done.at)}, {"by", done.by}, {"why", done.why}};
    if (done.days > 0) one["days"] = done.days;
    for (const Undo& undo : done.undo) one["undo"].push_back({{"file", undo.file}, {"at", undo.at}, {"patch", OrderedJson::parse(undo.patch)}});
    out["done"].push_back(std::move(one));
  }
  return out;
}

// Throws the JSON library's own for what is of another shape; read_proposal answers it.
Proposal proposal_of(const Json& json, const std::string& name) {
  Proposal p;
  p.name = name;
  p.target = json.at("for").get<std::string>();
  p.thresholds = json.at("thresholds").dump();
  for (const Json& one : json.at("done")) {
    Done done;
    const auto act = act_named(one.at("act").get<std::string>());
    const auto at = parse_rfc3339(one.at("at").get<std::string>());
    if (!act || !at) throw Json::other_error::create(500, "\"act\" or \"at\" is not known", nullptr);
    done.act = *act;
    done.at = *at;
    done.by = one.value("by", "");
    done.why = one.value("why", "");
    done.days = one.value("days", 0);
    if (one.contains("undo"))
      for (const Json& undo : one.at("undo"))
        done.undo.push_back({undo.at("file").get<std::string>(), undo.at("at").get<std::string>(), undo.at("patch").dump()});
    p.done.push_back(std::move(done));
  }
  return p;
}

std::optional<Proposal> read_proposal(const fs::path& file, std::vector<ConfigProblem>& problems) {
  const std::string shown_name = "proposals/" + file.filename().string();
  const auto json = read_json_file(file.string(), shown_name, problems);
  if (!json) return std::nullopt;
  try {
    return proposal_of(*json, file.stem().string());
  } catch (const Json::exception&) {
    problems.push_back({shown_name, "", "it is no proposal", "a file that this program has written"});
    return std::nullopt;
  }
}

bool write_proposal(const std::string& config, const Proposal& p) {
  return write_file(folder_of(config) / (p.name + ".json"), json_of(p).dump(2, ' ', false, OrderedJson::error_handler_t::replace) + "\n");
}

std::string joined(const std::vector<ConfigProblem>& problems) {
  std::string text;
  for (const ConfigProblem& problem : problems) text += (text.empty() ? "" : "\n") + text_of(problem);
  return text;
}

// Where a person would write thresholds for the target.
struct Place {
  std::string file;
  std::string at;      // of the object that holds them
  std::string member;  // within it; empty: the object itself
};

std::vector<std::string> parts_of(const std::string& target) {
  std::vector<std::string> parts;
  std::istringstream in(target);
  for (std::string part; std::getline(in, part, ',');) {
    const std::size_t begin = part.find_first_not_of(' ');
    if (begin == std::string::npos) continue;
    parts.push_back(part.substr(begin, part.find_last_not_of(' ') - begin + 1));
  }
  return parts;
}

StationId id_of(const std::string& part) {
  const std::size_t slash = part.find('/');
  return slash == std::string::npos ? StationId{} : StationId{part.substr(0, slash), part.substr(slash + 1)};
}

Or<std::vector<Place>> places_of(const std::string& target, const ConfigOutcome& config) {
  const auto known = [](const std::string& what, const std::string& name, const auto& has) {
    return has ? std::optional<std::string>() : "there is no station of the " + what + " \"" + name + "\" in the configuration";
  };
  if (target == "all") return std::vector<Place>{{"rules.json", "", ""}};
  if (target.starts_with("site ")) {
    const std::string name = target.substr(5);
    const bool has = std::any_of(config.places.begin(), config.places.end(), [&](const auto& s) { return s.first.site == name; });
    if (const auto why = known("site", name, has)) return tl::unexpected(*why);
    return std::vector<Place>{{"sites/" + name + ".json", "", ""}};
  }
  if (target.starts_with("kind ")) {
    const std::string name = target.substr(5);
    const bool has = std::any_of(config.kinds.begin(), config.kinds.end(), [&](const auto& s) { return s.second == name; });
    if (const auto why = known("kind", name, has)) return tl::unexpected(*why);
    return std::vector<Place>{{"kinds/" + name + ".json", "", ""}};
  }
  std::vector<Place> places;
  for (const std::string& part : parts_of(target)) {
    const auto station = config.places.find(id_of(part));
    if (station == config.places.end())
      return tl::unexpected("\"" + part + "\" is no configured station; right would be SITE/STATION, \"site NAME\", \"kind NAME\" or \"all\"");
    places.push_back({station->second.file, station->second.at, "thresholds"});
  }
  if (places.empty()) return tl::unexpected(std::string("for whom is missing; right would be SITE/STATION, \"site NAME\", \"kind NAME\" or \"all\""));
  return places;
}

// What brings `patched` back to `before`.
Json undo_of(const Json& before, const Json& patch) {
  Json undo = Json::object();
  for (const auto& [key, value] : patch.items()) {
    if (!before.is_object() || !before.contains(key))
      undo[key] = nullptr;
    else if (value.is_object() && before.at(key).is_object())
      undo[key] = undo_of(before.at(key), value);
    else
      undo[key] = before.at(key);
  }
  return undo;
}

Json at_pointer(const Json& document, const std::string& at) {
  const nlohmann::json::json_pointer pointer(at);
  return document.contains(pointer) ? document.at(pointer) : Json(nullptr);
}

// Texts of files that are to be written; what stood there is kept, so that all can be taken back.
class Writing {
 public:
  explicit Writing(std::string config) : config_(std::move(config)) {}

  [[nodiscard]] Or<Undo> lay(const Place& place, const Json& patch) {
    const Json whole = place.member.empty() ? patch : Json{{place.member, patch}};
    const auto text = text_of(place.file);
    if (!text) return tl::unexpected(text.error());
    std::vector<ConfigProblem> problems;
    const auto document = read_json_text(*text, place.file, problems);
    if (!document) return tl::unexpected(joined(problems));
    auto changed = edited(*text, place.at, whole);
    if (!changed) return tl::unexpected(place.file + ": " + changed.error());
    const Json undo = undo_of(at_pointer(*document, place.at), whole);
    texts_[place.file] = std::move(*changed);
    return Undo{place.file, place.at, undo.dump()};
  }
  // The values that a patch would set are the ones that stand there.
  [[nodiscard]] bool stands(const Place& place, const Json& patch) {
    const auto text = text_of(place.file);
    std::vector<ConfigProblem> problems;
    const auto document = text ? read_json_text(*text, place.file, problems) : std::nullopt;
    if (!document) return false;
    const Json whole = place.member.empty() ? patch : Json{{place.member, patch}};
    Json there = at_pointer(*document, place.at);
    Json wanted = there;
    wanted.merge_patch(whole);
    return there == wanted;
  }
  // All or none, and only if the whole can then be used.
  [[nodiscard]] Or<std::vector<std::string>> commit() {
    std::vector<std::string> files;
    std::string why;
    for (const auto& [file, text] : texts_) {
      if (!write_file(fs::path(config_) / file, text)) why = file + " cannot be written";
      if (!why.empty()) break;
      files.push_back(file);
    }
    if (why.empty()) {
      const ConfigOutcome outcome = load_config(config_);
      if (outcome.config) return files;
      why = "with it the configuration could not be used, and nothing was changed: " + joined(outcome.problems);
    }
    put_back(files);
    return tl::unexpected(why);
  }
  void put_back(const std::vector<std::string>& files) {
    for (const std::string& file : files) {
      std::error_code ignored;
      if (const auto& before = before_.at(file); before)
        (void)write_file(fs::path(config_) / file, *before);
      else
        fs::remove(fs::path(config_) / file, ignored);
    }
  }

 private:
  Or<std::string> text_of(const std::string& file) {
    if (const auto known = texts_.find(file); known != texts_.end()) return known->second;
    const auto text = text_of_file(fs::path(config_) / file);
    std::error_code ignored;
    if (!text && fs::exists(fs::path(config_) / file, ignored)) return tl::unexpected(file + " cannot be read");
    before_[file] = text;
    return text.value_or("{}\n");
  }
  const std::string config_;
  std::map<std::string, std::string> texts_;
  std::map<std::string, std::optional<std::string>> before_;
};

std::string shown(const std::string& value) { return value == "null" ? "the rule's own" : value; }

// Stations of the proposal on which another layer wins over it.
std::vector<std::string> kept_elsewhere(const std::string& config, const Proposal& proposal) {
  std::vector<std::string> notes;
  const ConfigOutcome outcome = load_config(config);
  if (!outcome.config) return notes;
  for (const StationId& id : stations_of(proposal, outcome)) {
    const Thresholds& now = outcome.config->plant.stations.at(id).thresholds;
    Json wanted = document_of(now);
    wanted.merge_patch(completed(Json::parse(proposal.thresholds)));
    if (thresholds_of(wanted) == now) continue;
    notes.push_back(id.site + "/" + id.station + " keeps another value from a nearer file; driftline check --explain " + id.site + "/" + id.station +
                    " says which");
    if (notes.size() == 20) break;
  }
  return notes;
}

Or<Proposal> loaded(const std::string& config, std::string_view name) {
  if (name.empty() || name.find('/') != std::string_view::npos || name.front() == '.') return tl::unexpected("\"" + std::string(name) + "\" is no proposal's name");
  std::vector<ConfigProblem> problems;
  const fs::path file = folder_of(config) / (std::string(name) + ".json");
  std::error_code ignored;
  if (!fs::exists(file, ignored)) return tl::unexpected("there is no proposal " + std::string(name) + " in " + folder_of(config).string());
  auto proposal = read_proposal(file, problems);
  if (!proposal) return tl::unexpected(joined(problems));
  return std::move(*proposal);
}

Or<Outcome> noted(const std::string& config, Proposal proposal, Done done) {
  proposal.done.push_back(std::move(done));
  if (!write_proposal(config, proposal)) return tl::unexpected("the proposal " + proposal.name + " cannot be written");
  return Outcome{std::move(proposal), {}, {}};
}

}  // namespace

std::string_view name_of(Act act) {
  switch (act) {
    case Act::proposed: return "proposed";
    case Act::silent: return "silent";
    case Act::in_force: return "in-force";
    case Act::taken_back: return "taken-back";
    case Act::withdrawn: return "withdrawn";
    case Act::compared: return "compared";
  }
  return "";
}

const Done* Proposal::last(Act act) const {
  for (auto at = done.rbegin(); at != done.rend(); ++at)
    if (at->act == act) return &*at;
  return nullptr;
}

Act Proposal::state() const {
  for (auto at = done.rbegin(); at != done.rend(); ++at)
    if (at->act != Act::compared) return at->act;
  return Act::proposed;
}

std::vector<Proposal> proposals(const std::string& folder, std::vector<ConfigProblem>& problems) {
  std::vector<Proposal> all;
  std::vector<fs::path> files;
  std::error_code failed;
  for (fs::directory_iterator at(folder_of(folder), failed), end; !failed && at != end; at.increment(failed))
    if (at->path().extension() == ".json") files.push_back(at->path());
  std::sort(files.begin(), files.end());
  for (const fs::path& file : files)
    if (auto proposal = read_proposal(file, problems)) all.push_back(std::move(*proposal));
  return all;
}

Or<Proposal> proposal_named(const std::string& folder, std::string_view name) { return loaded(folder, name); }

Or<Proposal> propose(const std::string& folder, const Draft& draft, Time now) {
  if (draft.by.empty() || draft.by.size() > text_most) return tl::unexpected(std::string("who proposes it is missing"));
  if (draft.why.empty() || draft.why.size() > text_most) return tl::unexpected(std::string("a reason is missing: what is it meant to better?"));
  std::vector<ConfigProblem> problems;
  const auto patch = read_json_text(draft.thresholds, "thresholds", problems);
  if (patch) check_schema(ConfigSchema::thresholds, *patch, "thresholds", "", problems);
  if (!problems.empty()) return tl::unexpected(joined(problems));
  if (!patch || patch->empty()) return tl::unexpected(std::string("it changes no threshold"));
  const ConfigOutcome config = load_config(folder);
  if (!config.config) return tl::unexpected("the configuration cannot be used as it is: " + joined(config.problems));
  if (const auto places = places_of(draft.target, config); !places) return tl::unexpected(places.error());
  const Lock lock(folder);
  if (!lock.held()) return tl::unexpected(std::string(not_held));
  Proposal proposal;
  proposal.target = draft.target;
  proposal.thresholds = patch->dump();
  proposal.done.push_back({Act::proposed, now, draft.by, draft.why, 0, {}});
  std::error_code ignored;
  for (std::size_t number = 1; number <= proposals_a_day_most; ++number) {
    proposal.name = rfc3339_date(now) + "-" + std::to_string(number);
    if (fs::exists(folder_of(folder) / (proposal.name + ".json"), ignored)) continue;
    if (!write_proposal(folder, proposal)) return tl::unexpected("the proposal cannot be written to " + folder_of(folder).string());
    return proposal;
  }
  return tl::unexpected(std::string("there are too many proposals of today"));
}

Or<Outcome> put_in_force(const std::string& folder, std::string_view name, const std::string& by, const std::string& why, Time now) {
  const Lock lock(folder);
  if (!lock.held()) return tl::unexpected(std::string(not_held));
  auto proposal = loaded(folder, name);
  if (!proposal) return tl::unexpected(proposal.error());
  if (proposal->state() == Act::in_force) return tl::unexpected(proposal->name + " is in force already");
  if (proposal->state() == Act::withdrawn) return tl::unexpected(proposal->name + " was withdrawn");
  const ConfigOutcome config = load_config(folder);
  if (!config.config) return tl::unexpected("the configuration cannot be used as it is: " + joined(config.problems));
  const auto places = places_of(proposal->target, config);
  if (!places) return tl::unexpected(places.error());
  Writing writing(folder);
  Done done{Act::in_force, now, by, why, 0, {}};
  for (const Place& place : *places) {
    auto undo = writing.lay(place, completed(Json::parse(proposal->thresholds)));
    if (!undo) return tl::unexpected(undo.error());
    done.undo.push_back(std::move(*undo));
  }
  auto files = writing.commit();
  if (!files) return tl::unexpected(files.error());
  auto outcome = noted(folder, std::move(*proposal), std::move(done));
  if (!outcome) {
    writing.put_back(*files);
    return outcome;
  }
  outcome->files = std::move(*files);
  outcome->notes = kept_elsewhere(folder, outcome->proposal);
  return outcome;
}

Or<Outcome> take_back(const std::string& folder, std::string_view name, const std::string& by, const std::string& why, Time now) {
  const Lock lock(folder);
  if (!lock.held()) return tl::unexpected(std::string(not_held));
  auto proposal = loaded(folder, name);
  if (!proposal) return tl::unexpected(proposal.error());
  if (proposal->state() != Act::in_force) return tl::unexpected(proposal->name + " is not in force: " + std::string(name_of(proposal->state())));
  Writing writing(folder);
  const std::vector<Undo> undo = proposal->last(Act::in_force)->undo;
  const ConfigOutcome config = load_config(folder);
  const auto places = places_of(proposal->target, config);
  if (!places) return tl::unexpected(places.error());
  for (const Place& place : *places)
    if (!writing.stands(place, completed(Json::parse(proposal->thresholds))))
      return tl::unexpected(place.file + " " + place.at + " has been changed since: " + proposal->thresholds + " does not stand there; change it by hand");
  for (auto at = undo.rbegin(); at != undo.rend(); ++at) {
    // Stations may have moved within their file: where they stand now is where they are changed.
    const auto place = static_cast<std::size_t>(std::distance(at, undo.rend()) - 1);
    if (const auto laid = writing.lay({(*places)[place].file, (*places)[place].at, ""}, Json::parse(at->patch)); !laid) return tl::unexpected(laid.error());
  }
  auto files = writing.commit();
  if (!files) return tl::unexpected(files.error());
  auto outcome = noted(folder, std::move(*proposal), {Act::taken_back, now, by, why, 0, {}});
  if (!outcome) {
    writing.put_back(*files);
    return outcome;
  }
  outcome->files = std::move(*files);
  return outcome;
}

Or<Outcome> go_silent(const std::string& folder, std::string_view name, int days, const std::string& by, const std::string& why, Time now) {
  const Lock lock(folder);
  if (!lock.held()) return tl::unexpected(std::string(not_held));
  auto proposal = loaded(folder, name);
  if (!proposal) return tl::unexpected(proposal.error());
  if (proposal->state() != Act::proposed && proposal->state() != Act::taken_back)
    return tl::unexpected(proposal->name + " is " + std::string(name_of(proposal->state())) + " already");
  return noted(folder, std::move(*proposal), {Act::silent, now, by, why, days, {}});
}

Or<Outcome> note_comparison(const std::string& folder, std::string_view name, const std::string& what, Time now) {
  const Lock lock(folder);
  if (!lock.held()) return tl::unexpected(std::string(not_held));
  auto proposal = loaded(folder, name);
  if (!proposal) return tl::unexpected(proposal.error());
  if (proposal->state() != Act::silent) return tl::unexpected(proposal->name + " is " + std::string(name_of(proposal->state())) + ", not silent");
  return noted(folder, std::move(*proposal), {Act::compared, now, "the gateway", what, 0, {}});
}

Or<Outcome> withdraw(const std::string& folder, std::string_view name, const std::string& by, const std::string& why, Time now) {
  const Lock lock(folder);
  if (!lock.held()) return tl::unexpected(std::string(not_held));
  auto proposal = loaded(folder, name);
  if (!proposal) return tl::unexpected(proposal.error());
  if (proposal->state() == Act::in_force) return tl::unexpected(proposal->name + " is in force: take it back first");
  return noted(folder, std::move(*proposal), {Act::withdrawn, now, by, why, 0, {}});
}

std::vector<history::RolloutRow> rows_of(const std::string& folder) {
  std::vector<history::RolloutRow> rows;
  std::vector<ConfigProblem> ignored;
  if (folder.empty()) return rows;
  for (const Proposal& p : proposals(folder, ignored)) {
    std::int64_t number = 0;
    for (const Done& done : p.done)
      rows.push_back({p.name, number++, done.at, std::string(name_of(done.act)), done.by, done.why, p.target, p.thresholds});
  }
  return rows;
}

history::RolloutRow reload_row(const std::vector<std::string>& changes, Time now) {
  constexpr std::size_t lines_told = 50;
  std::string text;
  for (std::size_t i = 0; i < std::min(changes.size(), lines_told); ++i) text += (i == 0 ? "" : "; ") + changes[i];
  if (changes.size() > lines_told) text += "; and " + std::to_string(changes.size() - lines_told) + " more";
  return {"reload", ms_since_1970(now), now, "reloaded", "the gateway", text, std::to_string(changes.size()) + (changes.size() == 1 ? " station" : " stations"), "{}"};
}

std::vector<StationId> stations_of(const Proposal& proposal, const ConfigOutcome& config) {
  std::vector<StationId> all;
  const std::vector<std::string> parts = parts_of(proposal.target);
  for (const auto& [id, place] : config.places) {
    const auto kind = config.kinds.find(id);
    const bool meant = proposal.target == "all" || proposal.target == "site " + id.site ||
                       (kind != config.kinds.end() && proposal.target == "kind " + kind->second) ||
                       std::find(parts.begin(), parts.end(), id.site + "/" + id.station) != parts.end();
    if (meant) all.push_back(id);
  }
  return all;
}

std::vector<std::string> changes_between(const PlantSettings& before, const PlantSettings& after) {
  std::vector<std::string> lines;
  const auto differences = [](const Thresholds& a, const Thresholds& b) {
    std::string text;
    const Json old_values = document_of(a).flatten();
    const Json new_values = document_of(b).flatten();
    const auto value = [](const Json& values, const std::string& key) { return values.contains(key) ? values.at(key).dump() : std::string("null"); };
    for (const std::string& name : threshold_names()) {
      const std::string key = "/" + name;
      if (value(old_values, key) == value(new_values, key)) continue;
      text += (text.empty() ? "" : ", ") + name + " " + shown(value(old_values, key)) + " -> " + shown(value(new_values, key));
    }
    return text;
  };
  if (const std::string text = differences(before.defaults, after.defaults); !text.empty()) lines.push_back("stations without an entry: " + text);
  for (const auto& [id, context] : after.stations) {
    const auto old_context = before.stations.find(id);
    const std::string who = id.site + "/" + id.station + ": ";
    if (old_context == before.stations.end()) {
      lines.push_back(who + "now configured");
      continue;
    }
    std::string text = differences(old_context->second.thresholds, context.thresholds);
    if (!(old_context->second.design == context.design)) text += (text.empty() ? "" : ", ") + std::string("what was built");
    if (!text.empty()) lines.push_back(who + text);
  }
  for (const auto& [id, context] : before.stations)
    if (!after.stations.contains(id)) lines.push_back(id.site + "/" + id.station + ": no longer configured, watched with the defaults");
  return lines;
}

}  // namespace driftline::rollout
