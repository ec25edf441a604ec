// The HTML of mails in Debian's chromium, at the width of a telephone. With DRIFTLINE_PICTURES=FOLDER the pictures are kept
// there: look at them.
#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>

#include "rules/warnings/text.h"
#include "tests/support/process.h"
#include "tests/support/temp_folder.h"
#include "tests/unit/messages/plant_of_warnings.h"

namespace driftline::messages {
namespace {

using driftline::testing::Process;
using driftline::testing::TempFolder;
using std::chrono::hours;

constexpr int telephone_px = 360;

Trend rising(const std::string& figure, double usual, double scatter, double rise) {
  Trend trend{.figure = figure, .points = {}, .from = monday_noon - hours{720}, .to = monday_noon, .limit = 150.0, .since = monday_noon - hours{180}};
  for (int h = 0; h < 720; h += 2) {
    const double value = usual + scatter * (std::sin(h * 1.7) + std::sin(h * 0.61)) + (h > 540 ? rise * (h - 540) / 180.0 : 0);
    trend.points.push_back({trend.from + hours{h}, value, usual});
    trend.low = h == 0 ? value : std::min(trend.low, value);
    trend.high = h == 0 ? value : std::max(trend.high, value);
  }
  return trend;
}

Item item_of(const std::string& station, Condition condition, Urgency urgency, history::MessageKind kind = history::MessageKind::news) {
  Finding f;
  f.condition = condition;
  f.line = 2;
  f.time = monday_noon;
  f.urgency = urgency;
  f.causes = {{Cause::slow_leak, 0.62}, {Cause::pump_worn, 0.24}, {Cause::air_in_line, 0.14}};
  f.evidence = {{"", {}, {}, {}, "the other line did not move with it"}, {"vent_s", 84, 85, {}, "the vent is as usual"}};
  f.forecast = {monday_noon + hours{60}, monday_noon + hours{30}, monday_noon + hours{110}};
  f.shift = FigureShift{.figure = "time_to_pressure_s", .value = 134.2, .usual = 88, .spread = 1.2, .limit = 150, .since = monday_noon - hours{180}, .turns = 6};
  f.reason = "the time to pressure has left its baseline upwards";
  Item item{.id = 1, .message = {}, .warning = WarningChange{}};
  item.warning = WarningChange{.time = monday_noon, .station = {"northyard", station}, .line = 2, .condition = condition, .urgency = urgency, .change = Change::raised, .causes = f.causes,
                               .evidence = f.evidence, .forecast = f.forecast, .shift = f.shift, .text = rules::text_of({"northyard", station}, f, Change::raised, 0)};
  item.trend = rising("time_to_pressure_s", 88, 1.2, 46);
  history::MessageRow& row = item.message.row;
  row.kind = kind;
  row.step = kind == history::MessageKind::reminder ? 1 : 0;
  row.person = "anna";
  row.warning = history::WarningRef{{"northyard", station}, 2, condition};
  row.urgency = urgency;
  row.raised = monday_noon;
  return item;
}

class MailLooks : public ::testing::Test {
 protected:
  // By how many pixels it is wider than a telephone, as chromium lays it out.
  int too_wide(const std::string& name, const Text& text) {
    std::string html = text.html;
    for (const Picture& picture : text.pictures) {
      folder_.write(picture.id + ".png", picture.png);
      const std::string from = "cid:" + picture.id + std::string(host_place);
      html.replace(html.find(from), from.size(), picture.id + ".png");
    }
    folder_.write("mail.html", html);
    folder_.write("frame.html", "<!doctype html><body style='margin:0'><iframe id=f src=mail.html style='border:0;width:" + std::to_string(telephone_px) +
                                    "px;height:1700px'></iframe><script>onload=()=>{const d=f.contentDocument.documentElement;document.title='over '+(d.scrollWidth-d.clientWidth)+"
                                    "' pictures '+[...f.contentDocument.images].filter(i=>i.naturalWidth>0).length}</script>");
    const std::string dom = chromium({"--allow-file-access-from-files", "--virtual-time-budget=3000", "--dump-dom", "file://" + folder_.file("frame.html")});
    const auto at = dom.find("<title>over ");
    EXPECT_NE(at, std::string::npos) << dom.substr(0, 500);
    EXPECT_NE(dom.find(" pictures " + std::to_string(text.pictures.size()) + "<"), std::string::npos) << "a picture is not shown";
    if (const char* keep = std::getenv("DRIFTLINE_PICTURES")) {
      (void)chromium({"--screenshot=" + std::string(keep) + "/" + name + ".png", "--window-size=500,1700", "--hide-scrollbars", "--allow-file-access-from-files", "file://" + folder_.file("frame.html")});
    }
    return at == std::string::npos ? -1 : std::atoi(dom.c_str() + at + 12);
  }

  std::string chromium(std::vector<std::string> arguments) {
    arguments.insert(arguments.begin(), {"chromium", "--headless=new", "--no-sandbox", "--disable-gpu", "--user-data-dir=" + folder_.file("profile")});
    Process process({.command = arguments, .environment = {}, .output_file = folder_.file("out"), .file_bytes_max = {}});
    EXPECT_EQ(process.wait(), 0);
    std::ostringstream text;
    text << std::ifstream(folder_.file("out")).rdbuf();
    return text.str();
  }

  TempFolder folder_;
  DutyList duty_ = duty_list();
  const Links links_ = page_links("https://gateway.plant.example");
};

// What must be pushed to and fro with a thumb, in the cold, is not read.
TEST_F(MailLooks, one_warning_fits_a_telephone) {
  duty_.grease["northyard"] = "NLGI 2, lithium";
  EXPECT_EQ(too_wide("act", text_of({item_of("ps-01", Condition::slow_to_pressure, Urgency::act, history::MessageKind::reminder)}, duty_, links_, monday_noon)), 0);
}

TEST_F(MailLooks, many_warnings_and_long_names_fit_a_telephone) {
  // As above.
  std::vector<Item> items;
  for (int i = 1; i <= 8; ++i) items.push_back(item_of("pumping-station-with-a-name-of-sixty-four-characters-and-no-gap-" + std::to_string(i), Condition::slow_to_pressure, Urgency::plan));
  EXPECT_EQ(too_wide("site", text_of(items, duty_, links_, monday_noon)), 0);
}

}  // namespace
}  // namespace driftline::messages
