#include "gateway/app/page_duty.h"

#include <set>

namespace driftline {
namespace {

std::string words_of(const messages::Local& local, const std::string& zone) {
  static constexpr const char* days[]{"Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"};
  const auto two = [](int number) { return (number < 10 ? "0" : "") + std::to_string(number); };
  return std::string(days[local.weekday]) + ", " + two(local.minute / 60) + ":" + two(local.minute % 60) + " in " + zone;
}

}  // namespace

web::DutyNow duty_now(const messages::DutyList& duty) {
  std::set<std::string> channels;
  for (const auto& [name, person] : duty.people)
    for (const auto& [channel, address] : person.channels) channels.insert(channel);
  return {{channels.begin(), channels.end()}};
}

web::WhoTold who_told(const messages::DutyList& duty, const history::WarningRef& warning, Urgency urgency, Time at) {
  const std::string& zone = messages::zone_of(duty, warning.station.site);
  const messages::Choice choice = messages::choose(duty, warning, urgency, at);
  web::WhoTold told;
  told.local = words_of(messages::local_of(at, zone), zone);
  told.why = choice.why;
  if (urgency != Urgency::act) told.held_until = messages::quiet_until(duty, at, zone);
  told.all_at_once = choice.line == nullptr;
  told.after_min = choice.line ? choice.line->after_min : 0;
  for (const std::string& name : choice.people) {
    web::WhoTold::Person person{name, {}};
    if (const auto known = duty.people.find(name); known != duty.people.end())
      for (const auto& [channel, address] : known->second.channels) person.channels.push_back(channel);
    told.people.push_back(std::move(person));
  }
  return told;
}

}  // namespace driftline
