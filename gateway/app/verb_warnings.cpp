// driftline warnings, driftline acknowledge: what is open and whose it is, and what people do about it, on the command line.
//
// The list is read from the history, whether a gateway runs on it or not. An act goes to the gateway that runs on the data folder
// (act_socket.h); where none does, it is stored in the history itself, under the lock that a gateway would hold, and the next
// gateway tells of it.

#include <algorithm>
#include <filesystem>
#include <iostream>
#include <thread>

#include "gateway/app/act_desk.h"
#include "gateway/app/act_socket.h"
#include "gateway/app/clock.h"
#include "gateway/app/command_line.h"
#include "gateway/app/config.h"
#include "gateway/app/run_limits.h"
#include "gateway/app/verbs.h"
#include "gateway/history/reader.h"
#include "gateway/history/row_text.h"
#include "gateway/history/warning_key.h"
#include "gateway/web/sessions.h"
#include "rules/records/names.h"
#include "rules/records/time_text.h"

namespace driftline {
namespace {

namespace fs = std::filesystem;

constexpr auto list_help =
    "Warnings that are open, shelved, suppressed or out of service, and whose each is; or one of these acts on one of them:\n"
    "shelve (with --hours or --until), unshelve, note, reset, take-out-of-service, return-to-service, acknowledge.\n"
    "WARNING is SITE/STATION/PLACE/CONDITION, as the list prints it.";
constexpr auto acknowledge_help =
    "Takes a warning: it is yours from then on, and nobody else is told again. WARNING is SITE/STATION/PLACE/CONDITION,\n"
    "as driftline warnings prints it. It does not matter whether the gateway runs.";

struct Asked {
  std::string verb{};
  std::string data_folder{}, config_folder{};
  ActQuestion question{};
  double hours = 0;
  bool json = false;
};

int tell(const Asked& asked, const std::string& why, int code) {
  std::cerr << "driftline " << asked.verb << ": " << why << '\n';
  return code;
}

// Of the configuration, if one is given: where the data are, which conditions latch, how long a shelf may last.
struct Where {
  std::string data_folder;
  rules::LifeSettings life;
};
std::optional<Where> where_of(const Asked& asked, std::string& why) {
  Where where{asked.data_folder, {}};
  if (asked.config_folder.empty()) return where;
  const ConfigOutcome outcome = load_config(asked.config_folder);
  if (!outcome.config) {
    why = "the configuration cannot be used; driftline check says why";
    return std::nullopt;
  }
  if (where.data_folder.empty()) where.data_folder = outcome.config->store.data_folder;
  if (outcome.config->duty) where.life = outcome.config->duty->life;
  return where;
}

std::string file_in(const std::string& data_folder) { return (fs::path(data_folder) / "history.db").string(); }

std::string who_text(const rules::Life& life) {
  if (life.shelf) return life.shelf->who + ", until " + rfc3339(life.shelf->until);
  return life.out_of_service_by.empty() ? life.owner : life.out_of_service_by;
}

void print_line(const history::LifeRow& row, std::size_t width) {
  std::string key = history::key_text(history::ref_of(row.last));
  key.resize(std::max(width, key.size()), ' ');
  const std::string state(rules::name_of(rules::state_of(row.life)));
  const std::string who = who_text(row.life);
  std::cout << key << "  " << name_of(row.life.urgency) << "  " << state << "  since " << rfc3339(row.life.raised) << (who.empty() ? "" : "  ") << who << '\n'
            << "    " << row.last.text.substr(0, row.last.text.find('\n')) << '\n';
}

int list(const Asked& asked, const Where& where) {
  auto reader = history::Reader::open(file_in(where.data_folder));
  if (!reader) return tell(asked, where.data_folder + " holds no history that can be read: " + reader.error().text, exit_failed);
  auto lives = (*reader)->lives();
  if (!lives) return tell(asked, lives.error().text, exit_failed);
  std::stable_sort(lives->begin(), lives->end(), [](const auto& a, const auto& b) { return a.row.life.urgency > b.row.life.urgency; });
  std::size_t width = 0;
  for (const auto& life : *lives) width = std::max(width, history::key_text(history::ref_of(life.row.last)).size());
  for (const auto& life : *lives) {
    std::string text;
    if (asked.json) append_row(text, life.row);
    if (asked.json) std::cout << text;
    else print_line(life.row, width);
  }
  if (lives->empty() && !asked.json) std::cout << "no warning is open\n";
  return exit_done;
}

int told(const Asked& asked, const std::string& answer) {
  if (asked.json) std::cout << answer << '\n';
  const ActTold told = told_of(answer);
  if (!told.good) return asked.json ? exit_failed : tell(asked, told.text, exit_failed);
  if (!asked.json) std::cout << told.text << '\n';
  return exit_done;
}

// Empty: a gateway holds it, or starts or ends just now.
std::optional<int> act_on_file(const Asked& asked, const Where& where, const std::string& question) {
  const std::string file = file_in(where.data_folder);
  std::error_code ignored;
  if (!fs::exists(file, ignored)) return tell(asked, where.data_folder + " holds no history", exit_failed);
  auto history = history::History::open({.file = file, .keep_other_cursors = true});
  if (!history) {
    if (history.error().find("is in use") != std::string::npos) return std::nullopt;
    return tell(asked, history.error(), exit_failed);
  }
  (*history)->set_life(where.life);
  return told(asked, ActDesk(**history, wall_now, {}).answer(question, "command-line"));
}

int act(const Asked& asked, const Where& where) {
  const std::string question = text_of(asked.question);
  for (const auto began = steady_now(); steady_now() - began < act_start_wait;) {
    const auto answer = ask_gateway(where.data_folder, question);
    if (answer) return told(asked, *answer);
    if (answer.error() == NoAnswer::refused)
      return tell(asked, "the gateway on " + where.data_folder + " belongs to somebody else; run this as its user", exit_failed);
    if (const auto code = act_on_file(asked, where, question)) return *code;
    std::this_thread::sleep_for(std::chrono::milliseconds{200});
  }
  return tell(asked, "a gateway holds " + where.data_folder + " and does not answer; the page of the gateway, or MQTT, may", exit_failed);
}

std::optional<std::string> problem_of(Asked& asked) {
  ActQuestion& question = asked.question;
  if (asked.data_folder.empty() && asked.config_folder.empty()) return "either --data DIR or --config DIR says which gateway is meant";
  if (question.act.empty()) return std::nullopt;
  if (question.warning.empty()) return "which warning? driftline warnings lists them";
  if (question.by.empty()) return "--by NAME says who does it";
  if (asked.hours > 0 && !question.until.empty()) return "either --hours or --until";
  if (asked.hours > 0) question.until = rfc3339(wall_now() + std::chrono::milliseconds{static_cast<std::int64_t>(asked.hours * 3'600'000)});
  if (question.request.empty()) question.request = "command-line/" + web::random_token();
  return std::nullopt;
}

int run(Asked& asked) {
  if (const auto why = problem_of(asked)) return tell(asked, *why, exit_unusable);
  std::string why;
  const auto where = where_of(asked, why);
  if (!where) return tell(asked, why, exit_unusable);
  return asked.question.act.empty() ? list(asked, *where) : act(asked, *where);
}

void add_options(CLI::App& app, Asked& asked) {
  app.add_option("--data", asked.data_folder, "data folder of the gateway");
  app.add_option("--config", asked.config_folder, "configuration folder: its data folder, unless --data names another");
  app.add_option("--by", asked.question.by, "who does it");
  app.add_option("--why", asked.question.why, "the reason, or the words of a note");
  app.add_option("--request", asked.question.request, "an id: the same act asked for again under it is done once");
  app.add_flag("--json", asked.json, "print JSON");
}

}  // namespace

int verb_warnings(Arguments arguments) {
  Asked asked{.verb = "warnings"};
  CLI::App app(list_help, "driftline warnings");
  app.add_option("act", asked.question.act, "what to do; left out: list");
  app.add_option("warning", asked.question.warning, "SITE/STATION/PLACE/CONDITION");
  add_options(app, asked);
  app.add_option("--hours", asked.hours, "how long to shelve")->check(CLI::PositiveNumber);
  app.add_option("--until", asked.question.until, "until when to shelve, such as 2026-03-01T18:00:00Z");
  if (const auto code = parse_command_line(app, arguments)) return *code;
  return run(asked);
}

int verb_acknowledge(Arguments arguments) {
  Asked asked{.verb = "acknowledge"};
  asked.question.act = "acknowledge";
  CLI::App app(acknowledge_help, "driftline acknowledge");
  app.add_option("warning", asked.question.warning, "SITE/STATION/PLACE/CONDITION")->required();
  add_options(app, asked);
  if (const auto code = parse_command_line(app, arguments)) return *code;
  return run(asked);
}

}  // namespace driftline
