#include "gateway/messages/text.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <regex>
#include <sstream>

#include "gateway/messages/digest.h"
#include "gateway/messages/measures.h"
#include "rules/records/names.h"
#include "rules/warnings/text.h"
#include "tests/unit/messages/plant_of_warnings.h"

namespace driftline::messages {
namespace {

using history::MessageKind;
using std::chrono::hours;
using ::testing::HasSubstr;
using ::testing::Not;

// A warning as the rules tell it.
Item told(Condition condition, Urgency urgency, const std::string& station = "ps-01", std::optional<int> line = 2) {
  Finding finding;
  finding.condition = condition;
  finding.line = line;
  finding.time = monday_noon;
  finding.urgency = urgency;
  finding.causes = {{Cause::slow_leak, 0.82}, {Cause::pump_worn, 0.13}, {Cause::air_in_line, 0.05}};
  finding.evidence = {{"", {}, {}, {}, "the other line did not move with it"}, {"vent_floor_bar", 12, 3, {}, "it holds 12.0 bar at rest"}};
  finding.forecast = {monday_noon + hours{24 * 9}, monday_noon + hours{24 * 6}, monday_noon + hours{24 * 14}};
  finding.shift = FigureShift{.figure = "time_to_pressure_s", .value = 98.8, .usual = 87.7, .spread = 1.2, .limit = 150, .since = monday_noon - hours{30}, .turns = 6};
  finding.reason = "the time to pressure has left its baseline upwards";
  Item item;
  item.id = 1;
  history::MessageRow& row = item.message.row;
  row.kind = MessageKind::news;
  row.person = "anna";
  row.warning = history::WarningRef{{"northyard", station}, line, condition};
  row.urgency = urgency;
  row.raised = monday_noon;
  row.key = "northyard/" + station + "/line-2/" + std::string(name_of(condition)) + "|2026|act|news|0|anna|mail";
  item.warning = WarningChange{.time = monday_noon, .station = {"northyard", station}, .line = line, .condition = condition, .urgency = urgency, .change = Change::raised,
                               .causes = finding.causes, .evidence = finding.evidence, .forecast = finding.forecast, .shift = finding.shift,
                               .text = rules::text_of({"northyard", station}, finding, Change::raised, 0)};
  return item;
}

DutyList berlin() {
  DutyList duty = duty_list();
  duty.zones["northyard"] = "Europe/Berlin";
  return duty;
}

const Links links = page_links("https://gateway.plant.example");

// Read at night on a telephone: without one of these the technician drives with the wrong things, or too late.
TEST(MessageText, says_what_changed_how_long_there_is_what_to_check_what_to_bring_and_the_caution) {
  const Text text = text_of({told(Condition::slow_to_pressure, Urgency::act)}, berlin(), links, monday_noon);
  EXPECT_EQ(text.subject, "ACT ps-01 line 2: slow to pressure, 9 days");
  EXPECT_EQ(text.plain, R"(northyard, ps-01 line 2
Slow to pressure, since 2026-01-12 13:00.
The time to pressure has left its baseline upwards.
Changed: time to pressure is 98.8 s, usual 87.7 s (+12.7 %), limit 150 s, since 2026-01-11 07:00.
Also seen: the other line did not move with it; it holds 12.0 bar at rest.
Time left: about 9 days to the pump limit; in 8 of 10 cases 6 to 14 days.
Likeliest, each with its first check:
1. Slow leak (82 %). Look for fresh grease at fittings and hoses of this line, most of all where they rub.
2. Worn pump (13 %). All lines slow by the same factor: measure the delivery at the pump outlet.
Bring: fittings, hose, seals.
Caution: up to 250 bar. Relieve the line and verify zero before opening it. Isolate and lock out pump and machine. The maker's instructions and local rules come first.
Acknowledge: https://gateway.plant.example/warnings?key=northyard/ps-01/line-2/slow-to-pressure
See the chart: https://gateway.plant.example/station/northyard/ps-01
Times: Europe/Berlin
)");
}

// A figure in a unit that nobody there thinks in is misread.
TEST(MessageText, has_the_units_of_the_site) {
  DutyList duty = berlin();
  duty.site_units["northyard"] = {.psi = true, .fahrenheit = true};
  Item item = told(Condition::residual_pressure, Urgency::plan);
  item.warning->shift = FigureShift{.figure = "residual_bar", .value = 12, .usual = 3, .spread = {}, .limit = 10, .since = {}, .turns = 4};
  const std::string text = text_of({item}, duty, links, monday_noon).plain;
  EXPECT_THAT(text, HasSubstr("residual pressure is 174 psi, usual 43.5 psi, limit 145 psi."));
  EXPECT_THAT(text, HasSubstr("it holds 174 psi at rest"));
  EXPECT_THAT(text, HasSubstr("up to 3626 psi"));
  EXPECT_THAT(text, Not(HasSubstr(" bar")));
  EXPECT_EQ(in_units("at -5 C and 20.0 C, 3 Compact", duty.site_units["northyard"]), "at 23.0 F and 68.0 F, 3 Compact");
  EXPECT_EQ(in_units("1.5 barrels, bar none", duty.site_units["northyard"]), "1.5 barrels, bar none");
}

// Whoever sets out for an empty reservoir without grease comes back.
TEST(MessageText, says_how_much_of_which_grease_to_bring) {
  DutyList duty = berlin();
  Item item = told(Condition::short_reservoir_life, Urgency::plan, "ps-01", std::nullopt);
  item.warning->causes.clear();
  EXPECT_THAT(text_of({item}, duty, links, monday_noon).plain, HasSubstr("Grease: the kind on the station's plate."));
  item.grease_kg = 9.3;
  duty.grease["northyard"] = "NLGI 2, lithium";
  EXPECT_THAT(text_of({item}, duty, links, monday_noon).plain, HasSubstr("Grease: NLGI 2, lithium, about 9.50 kg to fill the reservoir."));
  duty.grease["northyard/ps-01"] = "NLGI 1, calcium";
  EXPECT_THAT(text_of({item}, duty, links, monday_noon).plain, HasSubstr("Grease: NLGI 1, calcium, about"));
}

// A subject that is cut loses its end: what was found, and how long there is.
TEST(MessageText, no_subject_is_over_sixty_characters_and_each_keeps_what_was_found_and_how_long_there_is) {
  const std::string longest(64, 'x');
  for (std::size_t c = 0; c < condition_count; ++c)
    for (const Urgency urgency : {Urgency::notice, Urgency::plan, Urgency::act})
      for (const MessageKind kind : {MessageKind::news, MessageKind::reminder, MessageKind::over, MessageKind::taken}) {
        Item item = told(static_cast<Condition>(c), urgency, longest);
        item.message.row.kind = kind;
        item.message.row.body = "somebody with a very long name indeed";
        const std::string subject = text_of({item}, berlin(), links, monday_noon).subject;
        EXPECT_LE(characters_of(subject), subject_characters_max) << subject;
        EXPECT_THAT(subject, HasSubstr(std::string(rules::words_of(static_cast<Condition>(c))))) << subject;
        EXPECT_THAT(subject, HasSubstr("line 2")) << subject;
        if (kind == MessageKind::news) {
          EXPECT_TRUE(subject.ends_with("9 days") || subject.ends_with("now")) << subject;
        }
      }
}

// One cause at five stations: five messages would be five alarms for one thing.
TEST(MessageText, a_site_wide_cause_is_one_message_that_lists_its_stations) {
  std::vector<Item> items;
  for (int i = 1; i <= 5; ++i) items.push_back(told(Condition::slow_to_pressure, Urgency::plan, "ps-0" + std::to_string(i)));
  const Text text = text_of(items, berlin(), links, monday_noon);
  EXPECT_EQ(text.subject, "Plan northyard: slow to pressure at 5 stations");
  EXPECT_THAT(text.plain, HasSubstr("5 stations of northyard have this at once."));
  for (int i = 1; i <= 5; ++i) EXPECT_THAT(text.plain, HasSubstr("- Plan ps-0" + std::to_string(i) + " line 2: slow to pressure, 9 days"));
  for (int i = 1; i <= 5; ++i) EXPECT_THAT(text.plain, HasSubstr("key=northyard/ps-0" + std::to_string(i) + "/line-2"));
}

// A summary must not hide what is urgent, nor its link.
TEST(MessageText, a_summary_begins_with_what_is_most_urgent_and_tells_each_act_in_full) {
  std::vector<Item> items;
  for (int i = 1; i <= 9; ++i) {
    items.push_back(told(static_cast<Condition>(i), i >= 7 ? Urgency::act : Urgency::notice, "ps-0" + std::to_string(i)));
    items.back().message.row.warning->station.site = "site-" + std::to_string(i);
  }
  const Text text = text_of(items, berlin(), links, monday_noon);
  EXPECT_EQ(text.subject, "ACT 9 warnings at 9 stations");
  EXPECT_LT(text.plain.find("ACT ps-07"), text.plain.find("Note ps-01"));
  for (int i = 7; i <= 9; ++i) EXPECT_THAT(text.plain, HasSubstr("key=site-" + std::to_string(i) + "/"));
}

// Names come from whoever can publish: in HTML they must stay text.
TEST(MessageText, nothing_of_a_name_becomes_markup) {
  Item item = told(Condition::slow_to_pressure, Urgency::plan, "<img src=x>");
  item.warning->text = "x\n<script>alert(1)</script>. y";
  const Text text = text_of({item}, berlin(), links, monday_noon);
  EXPECT_THAT(text.html, Not(HasSubstr("<img")));
  EXPECT_THAT(text.html, Not(HasSubstr("<script")));
  EXPECT_THAT(text.html, HasSubstr("&lt;img src=x&gt;"));
}

// "Watched" must mean heard: a station whose link is down since Friday is none of them.
TEST(MessageText, the_digest_says_how_many_stations_were_truly_watched_and_what_is_held_back) {
  WarnedPlant plant;
  DutyList duty = duty_list();
  plant.say(word(1, Change::raised, Urgency::notice, monday_noon, Condition::station_silent));
  plant.say(word(2, Change::raised, Urgency::act, monday_noon - hours{50}));
  plant.act(2, rules::LifeEvent::acknowledge, "ben", monday_noon);
  DigestFacts facts;
  for (int i = 1; i <= 6; ++i) facts.known.push_back({"northyard", "ps-" + std::to_string(i)});
  facts.heard.assign(facts.known.begin(), facts.known.begin() + 5);
  facts.held = 3;
  facts.failed = 1;
  const GatewaySays said = digest_of(duty, *plant.reader->lives(), facts, "2026-01-12", monday_noon);
  EXPECT_EQ(said.subject, "2026-01-12: 4 of 6 stations watched, 2 open");
  EXPECT_EQ(said.body, R"(4 of 6 stations were truly watched in the last 24 hours.
Not heard, so nothing is known of them:
- northyard/ps-1
- northyard/ps-6

Nobody has acknowledged (1):
- northyard, ps-1 line 2: Note station silent, 0 days

Acknowledged (1):
- northyard, ps-2 line 2: ACT slow to pressure, 2 days, ben has it
Held back until quiet hours end, or until there is less at once: 3.
Refused or unsure in the last 24 hours: 1.
)");
}

// A name that the catalogue has not would be a hole in a message.
TEST(Words, every_text_that_is_asked_for_by_name_is_in_the_catalogue) {
  const Words words;
  const std::regex asked("\"([a-z]+/[a-z-]+)\"");
  std::size_t found = 0;
  for (const char* folder : {"gateway/messages", "gateway/app"})
    for (const auto& file : std::filesystem::directory_iterator(std::filesystem::path(DRIFTLINE_SOURCE_DIR) / folder)) {
      if (!file.is_regular_file() || file.path().filename() == "words.cpp") continue;
      std::stringstream text;
      text << std::ifstream(file.path()).rdbuf();
      const std::string source = text.str();
      if (source.find("words") == std::string::npos) continue;
      for (std::sregex_iterator at(source.begin(), source.end(), asked), end; at != end; ++at) {
        const std::string name = (*at)[1];
        if (name == "text/html" || name == "text/plain" || name == "image/png") continue;
        EXPECT_TRUE(words.all().contains(name)) << name << " in " << file.path();
        ++found;
      }
    }
  EXPECT_GT(found, 40U);
  for (const auto& [name, text] : words.all()) EXPECT_TRUE(!text.empty() || name.starts_with("unit/")) << name;
}

// A translation with a place too few would leave out a figure, and nobody would see it before the night.
TEST(Words, a_translation_is_whole_or_not_taken) {
  Words words;
  std::map<std::string, std::string> other(words.all().begin(), words.all().end());
  other["language"] = "de";
  other["body/found"] = "{what}, seit {since}.";
  other["condition/slow-to-pressure"] = "baut langsam Druck auf";
  Words german;
  EXPECT_TRUE(german.translate(other).empty());
  DutyList duty = berlin();
  duty.words = german;
  const Text text = text_of({told(Condition::slow_to_pressure, Urgency::act)}, duty, links, monday_noon);
  EXPECT_THAT(text.plain, HasSubstr("Baut langsam Druck auf, seit 2026-01-12 13:00.\n"));
  EXPECT_THAT(text.plain, Not(HasSubstr("has left its baseline"))) << "the rules' own English is left out";
  EXPECT_THAT(text.html, HasSubstr("<html lang=\"de\">"));
  other["body/found"] = "{what}.";
  other["body/fund"] = "x";
  other.erase("left/now");
  const auto problems = words.translate(other);
  ASSERT_EQ(problems.size(), 3U);
  EXPECT_EQ(problems[0].name, "body/fund");
  EXPECT_EQ(problems[1].remedy, "{since}, {what}");
  EXPECT_EQ(problems[2].name, "left/now");
  EXPECT_EQ(words, Words()) << "nothing was taken";
}

TEST(Measures, lengths_of_time_are_said_as_people_plan) {
  // "0.04 days" helps nobody.
  const Words words;
  EXPECT_EQ(length_text(-1, words), "now");
  EXPECT_EQ(length_text(0.03, words), "now");
  EXPECT_EQ(length_text(0.5, words), "12 h");
  EXPECT_EQ(length_text(1.4, words), "34 h");
  EXPECT_EQ(length_text(2.46, words), "2.5 days");
  EXPECT_EQ(length_text(9.2, words), "9 days");
  EXPECT_EQ(length_text(500, words), "more than 120 days");
  EXPECT_EQ(between_text(6.1, 13.9, words), "6 to 14 days");
  EXPECT_EQ(between_text(0.6, 6, words), "14 h to 6 days");
  EXPECT_EQ(between_text(9.1, 9.2, words), "9 days");
  EXPECT_EQ(between_text(-1, 500, words), "now to more than 120 days");
}

}  // namespace
}  // namespace driftline::messages
