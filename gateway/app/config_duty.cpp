#include <array>
#include <functional>
#include <fstream>
#include <nlohmann/json.hpp>

#include "gateway/app/config_parts.h"
#include "gateway/app/config_schema.h"
#include "gateway/messages/limits.h"
#include "gateway/messages/mail.h"
#include "rules/records/names.h"

namespace driftline {
namespace {

namespace fs = std::filesystem;
using messages::DutyList;

constexpr const char* file_name = "duty.json";

int minutes_of(const std::string& text) { return std::stoi(text.substr(0, 2)) * 60 + std::stoi(text.substr(3, 2)); }

messages::Hours hours_of(const Json& from) {
  static constexpr std::array<const char*, 7> names{"mon", "tue", "wed", "thu", "fri", "sat", "sun"};
  messages::Hours hours;
  if (from.contains("days")) {
    hours.days.fill(false);
    for (const Json& day : from["days"])
      for (std::size_t i = 0; i < names.size(); ++i)
        if (day == names[i]) hours.days[i] = true;
  }
  if (from.contains("from")) hours.from_min = minutes_of(from["from"]);
  if (from.contains("to")) hours.to_min = minutes_of(from["to"]);
  return hours;
}

class DutyFile {
 public:
  DutyFile(const Json& document, const fs::path& folder, DutyList& duty, std::vector<ConfigProblem>& problems,
           std::vector<ConfigProblem>& cautions)
      : document_(document), folder_(folder), duty_(duty), problems_(problems), cautions_(cautions) {}

  void take() {
    take_zones();
    take_channels();
    take_people();
    take_rotas();
    take_lines();
    if (document_.contains("quiet")) duty_.quiet = hours_of(document_["quiet"]);
    if (document_.contains("digest")) {
      duty_.digest_min = minutes_of(document_["digest"]["at"]);
      duty_.digest_to = names(document_["digest"]["to"], "/digest/to");
    } else {
      cautions_.push_back({file_name, "/digest", "nobody gets the daily digest, or hears of a dead channel", "\"digest\": {\"at\": \"06:30\", \"to\": [...]}"});
    }
    duty_.page_url = document_.value("page_url", "");
    while (duty_.page_url.ends_with('/')) duty_.page_url.pop_back();
    take_units();
    for (const auto& [place, kind] : part("grease").items()) duty_.grease[place] = kind;
    take_language();
    take_life();
  }

 private:
  // What is not given for a site is as in the list's own.
  static messages::Units units_of(const Json& from, const messages::Units& otherwise) {
    return {.psi = from.value("pressure", otherwise.psi ? "psi" : "bar") == "psi", .fahrenheit = from.value("temperature", otherwise.fahrenheit ? "F" : "C") == "F"};
  }
  void take_units() {
    duty_.units = units_of(part("units"), {});
    for (const auto& [site, units] : part("site_units").items()) duty_.site_units[site] = units_of(units, duty_.units);
  }

  void take_language() {
    const auto file = readable(document_, "words_file", "");
    if (!file || !std::ifstream(*file).is_open()) return;
    const std::string name = document_["words_file"];
    const auto texts = read_json_file(*file, name, problems_);
    if (!texts) return;
    std::map<std::string, std::string> given;
    for (const auto& [key, text] : texts->items()) {
      if (!text.is_string()) return problems_.push_back({name, pointer_step(key), "it is no text", "an object of names and texts, as driftline check --words prints it"});
      given[key] = text;
    }
    for (const auto& wrong : duty_.words.translate(given)) problems_.push_back({name, pointer_step(wrong.name), wrong.why, wrong.remedy});
  }

  // An empty object where it is not given; nothing that ends before a loop over it does.
  static const Json& part_of(const Json& from, const char* name) {
    static const Json none = Json::object();
    const auto found = from.find(name);
    return found == from.end() ? none : *found;
  }
  const Json& part(const char* name) const { return part_of(document_, name); }
  void problem(const std::string& at, const std::string& why, const std::string& remedy) { problems_.push_back({file_name, at, why, remedy}); }

  std::string zone(const Json& text, const std::string& at) {
    if (!messages::zone_known(text)) problem(at, shown(text) + " is no time zone that this machine knows", "an IANA name, such as \"Europe/Berlin\"; the package tzdata has them");
    return text;
  }
  void take_zones() {
    if (document_.contains("zone")) duty_.zone = zone(document_["zone"], "/zone");
    for (const auto& [site, name] : part("zones").items()) duty_.zones[site] = zone(name, "/zones" + pointer_step(site));
  }

  std::optional<std::string> readable(const Json& from, const char* name, const std::string& at) {
    if (!from.contains(name)) return std::nullopt;
    fs::path path = from[name].get<std::string>();
    if (path.is_relative()) path = folder_ / path;
    if (!std::ifstream(path).is_open() || fs::is_directory(path))
      problem(at + "/" + name, "the file that it names cannot be read", "a file that the user of the gateway may read");
    return path.string();
  }

  void key_is_long(const std::string& file, const std::string& at) {
    std::ifstream stream(file);
    std::string key;
    if (!stream.is_open() || !std::getline(stream, key) || key.size() >= messages::key_bytes_min) return;
    problem(at, "the key in that file is too short to sign with", "a first line of " + std::to_string(messages::key_bytes_min) + " characters or more");
  }

  void address(const std::string& text, const std::string& at) {
    if (!messages::is_mail_address(text)) problem(at, "it is no mail address that can be used", "plain letters, one @, no spaces, such as \"anna@plant.example\"");
  }

  void take_channels() {
    if (document_.contains("mail")) {
      const Json& from = document_["mail"];
      auto& mail = duty_.mail.emplace();
      mail.server = from["server"];
      mail.from = from["from"];
      address(mail.from, "/mail/from");
      mail.user = from.value("user", "");
      mail.password_file = readable(from, "password_file", "/mail");
      mail.ca_file = readable(from, "ca_file", "/mail");
    }
    for (const auto& [name, from] : part("webhooks").items()) {
      auto& webhook = duty_.webhooks[name];
      webhook.url = from["url"];
      webhook.key_file = readable(from, "key_file", "/webhooks" + pointer_step(name)).value_or("");
      key_is_long(webhook.key_file, "/webhooks" + pointer_step(name) + "/key_file");
      webhook.ca_file = readable(from, "ca_file", "/webhooks" + pointer_step(name));
    }
  }

  void take_people() {
    for (const auto& [name, from] : document_["people"].items()) {
      const std::string at = "/people" + pointer_step(name);
      messages::Person person{name, {}};
      if (from.contains("mail")) {
        address(from["mail"], at + "/mail");
        if (!duty_.mail) problem(at + "/mail", "there is no mail server", "\"mail\": {\"server\": ..., \"from\": ...} beside \"people\"");
        person.channels.emplace_back("mail", from["mail"]);
      }
      for (const auto& [hook, where] : part_of(from, "webhooks").items()) {
        if (!duty_.webhooks.contains(hook)) problem(at + "/webhooks" + pointer_step(hook), "there is no webhook of that name", "a name of \"webhooks\"");
        person.channels.emplace_back("webhook " + hook, where);
      }
      if (person.channels.empty()) problem(at, "the person has no address", "\"mail\" or \"webhooks\"");
      duty_.people[name] = std::move(person);
    }
  }

  std::vector<std::string> names(const Json& list, const std::string& at) {
    std::vector<std::string> all;
    for (std::size_t i = 0; i < list.size(); ++i) {
      const std::string name = list[i];
      if (!duty_.people.contains(name) && !duty_.rotas.contains(name)) problem(at + "/" + std::to_string(i), "nobody and no rota has that name", "a name of \"people\" or \"rotas\"");
      all.push_back(name);
    }
    return all;
  }

  void take_rotas() {
    for (const auto& [name, from] : part("rotas").items()) {
      const std::string at = "/rotas" + pointer_step(name);
      if (duty_.people.contains(name)) problem(at, "a person has that name too", "another name");
      messages::Rota rota;
      for (std::size_t i = 0; i < from["people"].size(); ++i) {
        rota.people.push_back(from["people"][i]);
        if (!duty_.people.contains(rota.people.back()))
          problem(at + "/people/" + std::to_string(i), "nobody has that name", "a name of \"people\"; a rota takes no other rota");
      }
      const std::string first = from["first"];
      rota.year = std::stoi(first.substr(0, 4));
      rota.month = std::stoi(first.substr(5, 2));
      rota.day = std::stoi(first.substr(8, 2));
      rota.minute = minutes_of(first.substr(11));
      rota.days = from["days"];
      if (!std::chrono::year_month_day{std::chrono::year{rota.year}, std::chrono::month(static_cast<unsigned>(rota.month)), std::chrono::day(static_cast<unsigned>(rota.day))}.ok() || rota.minute >= 1440)
        problem(at + "/first", "there is no such day or time", "a date and time such as \"2026-01-05T07:00\"");
      duty_.rotas[name] = std::move(rota);
    }
  }

  void take_conditions(const Json& list, const std::string& at, const std::function<void(Condition)>& take) {
    for (std::size_t i = 0; i < list.size(); ++i) {
      const auto condition = condition_named(list[i].get<std::string>());
      if (!condition)
        problem(at + "/" + std::to_string(i), shown(list[i]) + " is no condition", "a name such as \"slow-to-pressure\"");
      else
        take(*condition);
    }
  }

  void take_lines() {
    bool act_always = false;
    for (std::size_t i = 0; i < document_["lines"].size(); ++i) {
      const Json& from = document_["lines"][i];
      const std::string at = "/lines/" + std::to_string(i);
      messages::Line line;
      line.name = from["name"];
      for (const Json& site : part_of(from, "sites")) line.sites.insert(site.get<std::string>());
      for (const Json& station : part_of(from, "stations")) line.stations.insert(station.get<std::string>());
      take_conditions(from.value("conditions", Json::array()), at + "/conditions", [&](Condition c) { line.conditions.insert(c); });
      if (from.contains("urgency")) line.urgency = *urgency_named(from["urgency"].get<std::string>());
      if (from.contains("hours")) line.hours = hours_of(from["hours"]);
      line.tell = names(from["tell"], at + "/tell");
      line.after_min = from.value("after_min", 15);
      act_always = act_always || (line.sites.empty() && line.stations.empty() && line.conditions.empty() && !line.hours);
      duty_.lines.push_back(std::move(line));
    }
    if (!act_always)
      cautions_.push_back({file_name, "/lines", "no line fits every act at every hour: what none fits goes to everybody", "a last line with nothing but \"tell\""});
  }

  void take_life() {
    take_conditions(document_.value("latching", Json::array()), "/latching", [&](Condition c) { duty_.life.latching.at(static_cast<std::size_t>(c)) = true; });
    const Json hours = document_.value("shelf_hours", Json::object());
    const auto take_hours = [&](const char* name, std::chrono::hours& to) {
      if (hours.contains(name)) to = std::chrono::hours{hours[name].get<int>()};
    };
    take_hours("notice", duty_.life.shelf_longest_notice);
    take_hours("plan", duty_.life.shelf_longest_plan);
    take_hours("act", duty_.life.shelf_longest_act);
  }

  const Json& document_;
  const fs::path& folder_;
  DutyList& duty_;
  std::vector<ConfigProblem>& problems_;
  std::vector<ConfigProblem>& cautions_;
};

}  // namespace

void take_duty(const Json& document, const fs::path& folder, Config& config, std::vector<ConfigProblem>& problems,
               std::vector<ConfigProblem>& cautions) {
  const std::size_t before = problems.size();
  DutyFile(document, folder, config.duty.emplace(), problems, cautions).take();
  if (problems.size() != before) return;
  if (config.duty->page_url.empty())
    cautions.push_back({file_name, "/page_url", "messages have no links: nobody can take a warning from one", "\"page_url\": where people reach the page, such as \"https://gateway.plant.example\""});
  else if (!config.web)
    cautions.push_back({file_name, "/page_url", "the gateway has no page to which the links of messages could lead", "\"web\": {} in gateway.json"});
}

}  // namespace driftline
