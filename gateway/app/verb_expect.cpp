// driftline expect: what a line's turn should look like, from its design alone.

#include <fstream>
#include <iostream>
#include <sstream>

#include "gateway/app/command_line.h"
#include "gateway/app/expect_text.h"
#include "gateway/app/verbs.h"

namespace driftline {
namespace {

constexpr auto help_text =
    "What a turn of a line should look like at a temperature: time to pressure, metering plateau, loss of the flow, the floor to\n"
    "which the line vents, and the longest line that still works. From a plant file, or from options for one line:\n"
    "  driftline expect --plant season.plant.json --station kiln-04\n"
    "  driftline expect --delivery 60 --charges 50 --length 25 --bore 12 --target 180 --temps -20,0,20,40\n"
    "Greases differ: give --yield and --consistency of yours at 20 C if you know them.";

constexpr auto cautions =
    "Feed lines hold up to 250 bar and more: relieve and verify zero pressure before opening one; grease injected under the skin is\n"
    "a surgical emergency. These figures are advice: local safety rules, the maker's instructions and an authorised person's\n"
    "judgement stand above them.\n";

struct Options {
  std::string plant_file, station, svg;
  std::vector<double> temps{-20, -10, 0, 10, 20, 40};
  double delivery = 0, charges = 0, length = 0, bore = 0, target = 0, limit = 0, residual = 0, hose = 0;
  hydraulics::Assumptions with;
  double delivered_share = 0;  // 0: not given
  bool json = false;
};

void add_options(CLI::App& app, Options& o) {
  app.add_option("--plant", o.plant_file, "plant file with the stations' design")->check(CLI::ExistingFile);
  app.add_option("--station", o.station, "only this station of the plant file");
  app.add_option("--temps", o.temps, "temperatures of the grease in C")->delimiter(',')->check(CLI::Range(-60.0, 120.0));
  app.add_option("--delivery", o.delivery, "pump delivery as measured, cm3 a minute")->check(CLI::PositiveNumber);
  app.add_option("--charges", o.charges, "sum of the devices' charges in one turn, cm3")->check(CLI::PositiveNumber);
  app.add_option("--length", o.length, "length of the line, m")->check(CLI::PositiveNumber);
  app.add_option("--bore", o.bore, "bore of the line, mm")->check(CLI::PositiveNumber);
  app.add_option("--target", o.target, "target pressure, bar")->check(CLI::PositiveNumber);
  app.add_option("--pump-limit", o.limit, "longest pump run, s")->check(CLI::PositiveNumber);
  app.add_option("--residual", o.residual, "most a line may hold when its turn starts, bar")->check(CLI::PositiveNumber);
  app.add_option("--yield", o.with.grease.yield_20c_pa, "yield stress of the grease at 20 C, Pa")->check(CLI::PositiveNumber)->capture_default_str();
  app.add_option("--consistency", o.with.grease.consistency_20c_pa_s_n, "its consistency at 20 C, Pa s^n")->check(CLI::PositiveNumber)->capture_default_str();
  app.add_option("--exponent", o.with.grease.exponent, "its exponent n")->check(CLI::Range(0.05, 2.0))->capture_default_str();
  app.add_option("--oil-40", o.with.grease.oil.at_40_mm2_s, "base oil at 40 C, mm2/s")->check(CLI::Range(2.0, 5000.0))->capture_default_str();
  app.add_option("--oil-100", o.with.grease.oil.at_100_mm2_s, "base oil at 100 C, mm2/s")->check(CLI::Range(1.0, 1000.0))->capture_default_str();
  app.add_option("--opening", o.with.device_opening_bar, "pressure at which devices move, bar")->check(CLI::PositiveNumber)->capture_default_str();
  app.add_option("--hose", o.hose, "measured expansion of the hose, cm3 per m and bar")->check(CLI::PositiveNumber);
  app.add_option("--delivered-share", o.delivered_share, "what arrives of the stated delivery; 0.9 of a plant file's, 1 of --delivery")->check(CLI::Range(0.1, 1.5));
  app.add_option("--cold-loss", o.with.cold_loss, "how much worse the pump fills with stiff grease")->check(CLI::Range(0.0, 2.0))->capture_default_str();
  app.add_option("--svg", o.svg, "write the plot into this file");
  app.add_flag("--json", o.json, "print JSON, a line a station");
}

std::optional<double> given(double value) { return value > 0 ? std::optional(value) : std::nullopt; }

int refuse(const std::string& why) {
  std::cerr << "driftline expect: " << why << '\n';
  return exit_unusable;
}

tl::expected<std::vector<NamedDesign>, std::string> designs_of(const Options& o) {
  if (o.plant_file.empty()) {
    NamedDesign one;
    one.name = "the line of the options";
    one.design.settings = {std::nullopt, given(o.limit), given(o.target), given(o.residual), std::nullopt};
    one.design.displacement_cm3_min = given(o.delivery);
    one.design.lines = {{given(o.length), given(o.bore), std::nullopt, given(o.charges)}};
    return std::vector{one};
  }
  std::ifstream in(o.plant_file, std::ios::binary);
  std::stringstream text;
  text << in.rdbuf();
  auto all = read_designs(text.str());
  if (!all) return tl::unexpected(o.plant_file + ": " + all.error());
  if (o.station.empty()) return all;
  std::erase_if(*all, [&](const NamedDesign& d) { return d.name != o.station && !d.name.ends_with("/" + o.station); });
  if (all->empty()) return tl::unexpected("no station of " + o.plant_file + " is called \"" + o.station + "\"");
  return all;
}

}  // namespace

int verb_expect(Arguments arguments) {
  Options o;
  CLI::App app(help_text, "driftline expect");
  add_options(app, o);
  if (const auto code = parse_command_line(app, arguments)) return *code;
  if (o.plant_file.empty() && (o.delivery <= 0 || o.charges <= 0)) return refuse("give --plant, or at least --delivery and --charges; --help says more");
  if (o.with.grease.oil.at_100_mm2_s >= o.with.grease.oil.at_40_mm2_s) return refuse("--oil-100 must be under --oil-40: oils thin as they warm");
  const auto designs = designs_of(o);
  if (!designs) return refuse(designs.error());
  if (!o.svg.empty() && designs->size() != 1) return refuse("--svg draws one station: give --station");
  if (o.delivered_share > 0) o.with.delivered_share = o.delivered_share;
  else if (o.plant_file.empty()) o.with.delivered_share = 1;
  o.with.device_opening_bar_max = o.with.device_opening_bar + 20;
  o.with.hose_expansion_cm3_per_m_per_bar = given(o.hose);
  bool said = false;
  for (const NamedDesign& station : *designs) {
    const auto expectation = hydraulics::expected_turns(station.design, o.temps, o.with);
    said = said || !expectation.turns.empty();
    if (o.json)
      std::cout << expectation_json(station, expectation) << '\n';
    else
      std::cout << expectation_table(station, expectation) << expectation_plot(station, expectation) << '\n';
    if (!o.svg.empty()) {
      std::ofstream out(o.svg, std::ios::trunc);
      out << expectation_svg(station, expectation);
      if (!out.flush()) {
        std::cerr << "driftline expect: cannot write " << o.svg << '\n';
        return exit_failed;
      }
    }
  }
  if (!o.json) std::cout << cautions;
  return said ? exit_done : exit_failed;
}

}  // namespace driftline
