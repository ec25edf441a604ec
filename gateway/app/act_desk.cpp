#include "gateway/app/act_desk.h"

#include <nlohmann/json.hpp>

#include "gateway/app/run_events.h"
#include "gateway/history/warning_key.h"
#include "gateway/web/body.h"
#include "rules/records/names.h"
#include "rules/records/time_text.h"

namespace driftline {
namespace {

using OrderedJson = nlohmann::ordered_json;
using web::Fields;
using web::problem;
template <typename Value>
using Or = web::Or<Value>;

constexpr auto acts_remedy = "acknowledge, shelve, unshelve, reset, take-out-of-service, return-to-service or note";
constexpr auto warning_remedy = "SITE/STATION/PLACE/CONDITION as in the topics of warnings: northyard/ps-01/line-2/slow-to-pressure";

Or<std::string> needed(const Fields& fields, const std::string& name, std::size_t characters_max, const std::string& remedy) {
  const auto text = fields.text(name, 1, characters_max);
  if (!text) return tl::unexpected(text.error());
  if (!*text) return problem(400, "it is missing", "/" + name, remedy);
  return **text;
}

Or<std::optional<Time>> time_of(const Fields& fields, const std::string& name) {
  const auto text = fields.text(name, 1, 64);
  if (!text) return tl::unexpected(text.error());
  if (!*text) return std::optional<Time>{};
  const auto time = parse_rfc3339(**text);
  if (!time) return problem(400, "it is no time", "/" + name, "a time such as \"2026-03-01T18:00:00Z\" (RFC 3339)");
  return time;
}

Or<history::Act> act_of(const Fields& fields) {
  history::Act act;
  auto request = needed(fields, "request", history::request_characters_max, "an id of your own, another one for each act");
  if (!request) return tl::unexpected(request.error());
  act.request = std::move(*request);
  const auto named = needed(fields, "act", 64, acts_remedy);
  if (!named) return tl::unexpected(named.error());
  const auto what = rules::act_named(*named);
  if (!what) return problem(400, "the act is not known here", "/act", acts_remedy);
  act.what = *what;
  const auto key = needed(fields, "warning", 512, warning_remedy);
  if (!key) return tl::unexpected(key.error());
  const auto warning = history::warning_of_key(*key);
  if (!warning) return problem(400, "it names no warning", "/warning", warning_remedy);
  act.warning = *warning;
  auto by = needed(fields, "by", history::who_characters_max, "who does it");
  if (!by) return tl::unexpected(by.error());
  act.who = std::move(*by);
  const auto why = fields.text("why", 0, history::why_characters_max);
  if (!why) return tl::unexpected(why.error());
  act.why = why->value_or("");
  if (act.what == rules::LifeEvent::note && act.why.empty()) return problem(400, "a note has words", "/why", "text of 1 to 500 characters");
  const auto until = time_of(fields, "until");
  if (!until) return tl::unexpected(until.error());
  act.until = *until;
  const auto raised = time_of(fields, "raised");
  if (!raised) return tl::unexpected(raised.error());
  act.raised = *raised;
  return act;
}

// Where an answer of the history concerns a member of the question.
web::Problem of_answer(const history::ActOutcome& outcome) {
  using rules::ActAnswer;
  switch (outcome.answer) {
    case ActAnswer::unknown_warning: return {404, outcome.text, "/warning", "a warning that was raised: see the topics under lives", 0};
    case ActAnswer::end_missing:
    case ActAnswer::end_past:
    case ActAnswer::end_too_far: return {400, outcome.text, "/until", "a moment ahead, as far as the urgency allows", 0};
    case ActAnswer::another_raise: return {409, outcome.text, "/raised", "look at the warning as it is now", 0};
    case ActAnswer::request_used: return {409, outcome.text, "/request", "an id that was not used before", 0};
    case ActAnswer::unfit_text: return {400, outcome.text, "", "plain text; a request of printable ASCII without spaces, at most 128 characters", 0};
    default: return {409, outcome.text, "", "look at the warning as it is now", 0};
  }
}

std::string dumped(const OrderedJson& json) { return json.dump(-1, ' ', false, OrderedJson::error_handler_t::replace); }

OrderedJson begun(const std::string& request, Time now) {
  return {{"request", request.empty() ? OrderedJson(nullptr) : OrderedJson(request)}, {"time", rfc3339(now)}};
}

std::string refusal(const std::string& request, Time now, const web::Problem& problem) {
  OrderedJson json = begun(request, now);
  json["answer"] = "refused";
  std::string_view where = problem.where;
  if (where.starts_with("body")) where.remove_prefix(std::min<std::size_t>(5, where.size()));
  json["where"] = where;
  json["why"] = problem.detail;
  json["remedy"] = problem.remedy;
  return dumped(json);
}

OrderedJson or_null(const std::string& text) { return text.empty() ? OrderedJson(nullptr) : OrderedJson(text); }

std::string agreement(const history::Act& act, const history::ActOutcome& outcome, Time now) {
  OrderedJson json = begun(act.request, now);
  json["answer"] = rules::name_of(outcome.answer);
  json["repeated"] = outcome.repeated;
  json["text"] = outcome.text;
  json["warning"] = history::key_text(act.warning);
  json["state"] = rules::name_of(rules::state_of(outcome.life));
  json["urgency"] = name_of(outcome.life.urgency);
  json["raised"] = rfc3339(outcome.life.raised);
  json["owner"] = or_null(outcome.life.owner);
  json["shelved_until"] = outcome.life.shelf ? OrderedJson(rfc3339(outcome.life.shelf->until)) : OrderedJson(nullptr);
  return dumped(json);
}

// As far as it can be read, so that whoever asked knows which question is meant.
std::string request_of(const Fields& fields) {
  const auto text = fields.text("request", 0, history::request_characters_max);
  return text ? text->value_or("") : "";
}

}  // namespace

std::string ActDesk::answer(std::string_view question, std::string_view via) const {
  const Time now = wall_();
  if (question.size() > act_bytes_max)
    return refusal("", now, {413, "it has " + std::to_string(question.size()) + " bytes", "", "at most " + std::to_string(act_bytes_max), 0});
  const auto fields = web::read_body(std::string(question), {"request", "act", "warning", "by", "why", "until", "raised"});
  if (!fields) return refusal("", now, fields.error());
  const std::string request = request_of(*fields);
  auto act = act_of(*fields);
  if (!act) return refusal(request, now, act.error());
  act->time = now;
  act->via = via;
  const auto outcome = history_.act(*act);
  if (!outcome) return refusal(request, now, {503, "it could not be stored: " + outcome.error().text, "", "ask again, under the same request", 0});
  const bool stored = outcome->answer == rules::ActAnswer::done && !outcome->repeated;
  if (stored) {
    run_events::acted(rules::name_of(act->what), history::key_text(act->warning), act->who, via);
    if (acted_) acted_();
  }
  if (outcome->answer == rules::ActAnswer::done || outcome->answer == rules::ActAnswer::already) return agreement(*act, *outcome, now);
  return refusal(request, now, of_answer(*outcome));
}

ActTold told_of(std::string_view answer) {
  const auto json = OrderedJson::parse(answer, nullptr, false);
  const auto text = [&](const char* name) {
    return json.is_object() && json.contains(name) && json[name].is_string() ? json[name].get<std::string>() : std::string();
  };
  const std::string what = text("answer");
  if (what.empty()) return {"the answer cannot be read: " + std::string(answer.substr(0, 200)), false};
  if (what == "refused") {
    const std::string where = text("where");
    return {(where.empty() ? "" : where + "  ") + text("why") + (text("remedy").empty() ? "" : "\n    right would be: " + text("remedy")), false};
  }
  std::string told = text("warning") + ": " + text("text");
  if (!text("owner").empty()) told += "\n" + text("owner") + " has it.";
  if (!text("shelved_until").empty()) told += "\nShelved until " + text("shelved_until") + ".";
  return {told, true};
}

std::string text_of(const ActQuestion& question) {
  OrderedJson json{{"request", question.request}, {"act", question.act}, {"warning", question.warning}, {"by", question.by}};
  for (const auto& [name, value] : {std::pair{"why", &question.why}, std::pair{"until", &question.until}, std::pair{"raised", &question.raised}})
    if (!value->empty()) json[name] = *value;
  return dumped(json);
}

}  // namespace driftline
