#include "tests/integration/web/page_fixture.h"

#include <thread>

#include <valijson/adapters/nlohmann_json_adapter.hpp>
#include <valijson/schema.hpp>
#include <valijson/schema_parser.hpp>
#include <valijson/validator.hpp>

#include "gateway/web/api_document.h"
#include "rules/warnings/text.h"

namespace driftline::testing {
namespace {

using Json = nlohmann::json;

const StationId first{"northyard", "ps-01"};
const StationId second{"southyard", "ps-11"};

HalfCycle turn_of(int line, Time start, double time_s) {
  HalfCycle t;
  t.line = line;
  t.pump_start = start;
  t.pump_stop = later_by_s(start, time_s);
  t.outcome = Outcome::reached;
  t.time_to_pressure_s = time_s;
  t.time_to_pressure_error_s = 0.1;
  t.pump_run_s = time_s;
  t.peak_bar = 183.25;
  t.residual_bar = 4;
  t.vent_s = 61;
  t.level_pct = 61.5;
  t.temp_c = 9.25;
  t.samples = 200;
  t.largest_gap_s = 0.5;
  t.settings = {2880, 150, 180, 20, 2};
  for (int i = 0; i <= 10; ++i) t.shape.curve.push_back({time_s * i / 10, 4.0 + 17.9 * i});
  return t;
}

void forbid_others(Json& schema) {
  if (schema.is_array())
    for (Json& part : schema) forbid_others(part);
  if (!schema.is_object()) return;
  if (schema.contains("properties") && schema["properties"].is_object() && schema.value("type", Json()) == "object") schema["additionalProperties"] = false;
  for (auto& [name, part] : schema.items()) forbid_others(part);
}

}  // namespace

PageTest::PageTest() {
  history::HistorySettings settings;
  settings.file = folder_.file("history.db");
  auto opened = history::History::open(settings);
  if (!opened) throw std::runtime_error(opened.error());
  history_ = std::move(*opened);
}

PageTest::~PageTest() {
  if (web_) web_->stop();
}

void PageTest::start(web::WebSettings settings) {
  settings.port = 0;
  web::WebParts parts;
  parts.history = history_.get();
  parts.wall = [this] { return now_; };
  parts.steady = [] { return std::chrono::steady_clock::now().time_since_epoch(); };
  parts.plant = [this] {
    auto now = std::make_shared<web::PlantNow>();
    now->as_of = now_;
    now->stations.push_back({first, true, now_ - std::chrono::seconds{4}, 1000, 999, 2, 1, false});
    return now;
  };
  auto configured = std::make_shared<web::Configured>();
  rules::StationContext context;
  context.id = first;
  context.design.reservoir_kg = 15;
  context.design.grease_density_kg_l = 0.9;
  context.design.lines = {{25, 12, 10, 50}, {25, 12, 10, 50}};
  configured->emplace(first, context);
  parts.configured = [configured] { return configured; };
  parts.gateway = [this] { return web::GatewayNow{"connected", 0, 1000, 999, 10, 1, now_}; };
  parts.thresholds = [](const StationId&) { return std::vector<web::ThresholdNow>{{"plan_days", "14", "built-in"}, {"silent_after_s", "null", "rules.json"}}; };
  parts.post = [this](std::string_view topic, std::string_view payload) {
    const std::lock_guard guard(mutex_);
    if (journal_takes_) posted_.emplace_back(topic, payload);
    return journal_takes_;
  };
  parts.watch = [this](std::vector<StationId> stations) {
    const std::lock_guard guard(mutex_);
    watched_ = std::move(stations);
  };
  parts.lately = [this](const StationId& station) {
    const std::lock_guard guard(mutex_);
    return station == first ? lately_ : std::vector<Sample>{};
  };
  parts.who = [](const history::WarningRef&, Urgency, Time) {
    return std::optional(web::WhoTold{"Tuesday, 06:00 in UTC", {"\"all\" fits"}, std::nullopt, false, 15, {{"anna", {"mail"}}}});
  };
  parts.duty = [] { return std::optional(web::DutyNow{{"mail"}}); };
  parts.heartbeat = [] { return std::optional(web::HeartbeatNow{"webhook", 300, std::nullopt, "no answer"}); };
  parts.link_key = link_key_;
  parts.version = "test";
  auto opened = web::Web::open(settings, std::move(parts));
  ASSERT_TRUE(opened) << opened.error();
  web_ = std::move(*opened);
  web_->start();
}

Json PageTest::json(const std::string& path) const {
  const RawAnswer answer = get(path);
  EXPECT_EQ(answer.status, 200) << path << "\n" << answer.body;
  return Json::parse(answer.body, nullptr, false);
}

RawAnswer PageTest::post(const std::string& path, const Json& body, const std::string& headers) const {
  const RawAnswer session = get("/api/v1/session", headers);
  const Json token = Json::parse(session.body)["token"];
  return ask(port(), request_text("POST", path, headers + "X-Driftline-Token: " + (token.is_string() ? token.get<std::string>() : "none") + "\r\n", body.dump()));
}

void PageTest::wait_for_revision(std::int64_t over) {
  for (int i = 0; i < 400; ++i) {
    if (json("/api/v1/fleet")["revision"].get<std::int64_t>() > over) return;
    std::this_thread::sleep_for(std::chrono::milliseconds{25});
  }
  FAIL() << "the list of stations did not change";
}

void PageTest::commit(history::Batch batch) {
  batch.resume_from = batch.taken_to = 1;
  const auto done = history_->commit(batch);
  ASSERT_TRUE(done) << done.error().text;
  if (web_) web_->nudge();
}

history::Batch PageTest::small_history() const {
  history::Batch batch;
  for (int i = 20; i > 0; --i)
    for (int line = 1; line <= 2; ++line) {
      TurnUsual usual;
      usual.time_to_pressure_s = UsualFigure{88, 2};
      usual.vent_s = UsualFigure{60, 3};
      const Time start = now_ - std::chrono::minutes{48 * i} + std::chrono::minutes{24 * (line - 1)};
      batch.half_cycles.push_back({first, turn_of(line, start, line == 2 && i < 6 ? 99 : 88), usual});
    }
  batch.half_cycles.push_back({second, turn_of(1, now_ - std::chrono::hours{2}, 70), {}});
  const Time today = time_from_ms(ms_since_1970(now_) / 86'400'000 * 86'400'000);
  for (int day = 3; day > 0; --day) {
    batch.reservoir_days.push_back({today - std::chrono::hours{24 * day}, first, 60.0 + day, 2.4, 22.0 + day, 20.0 + day, 26.0 + day});
    batch.reservoir_days.push_back({today - std::chrono::hours{24 * day}, second, 20.0 + day, 2.4, 4.0 + day, 3.0 + day, 5.0 + day});
  }
  batch.forecast_days.push_back({today, first, 2, Condition::slow_to_pressure, {later_by_days(now_, 9), later_by_days(now_, 6), std::nullopt}});
  Finding f;
  f.condition = Condition::slow_to_pressure;
  f.line = 2;
  f.time = now_ - std::chrono::hours{3};
  f.urgency = Urgency::plan;
  f.causes = {{Cause::slow_leak, 0.75}, {Cause::air_in_line, 0.25}};
  f.evidence = {{"plateau_s", 44.1, 38.2, std::nullopt, "the metering plateau is longer"}};
  f.forecast = {later_by_days(now_, 9), later_by_days(now_, 6), later_by_days(now_, 14)};
  f.shift = FigureShift{"time_to_pressure_s", 99, 88, 2, 150, now_ - std::chrono::hours{4}, 6};
  f.reason = "the time to pressure has left its baseline upwards";
  WarningChange raised;
  raised.time = f.time;
  raised.station = first;
  raised.line = f.line;
  raised.condition = f.condition;
  raised.urgency = f.urgency;
  raised.causes = f.causes;
  raised.evidence = f.evidence;
  raised.forecast = f.forecast;
  raised.shift = f.shift;
  raised.text = rules::text_of(first, f, Change::raised, 0);
  batch.warnings.push_back(std::move(raised));
  return batch;
}

std::string departs(const std::string& schema, const Json& value) {
  static const Json document = [] {
    Json all = Json::parse(web::api_document_text());
    forbid_others(all["components"]["schemas"]);
    return all;
  }();
  const Json whole{{"$ref", "#/components/schemas/" + schema}, {"components", document["components"]}};
  valijson::Schema parsed;
  valijson::SchemaParser parser;
  parser.populateSchema(valijson::adapters::NlohmannJsonAdapter(whole), parsed);
  valijson::Validator validator;
  valijson::ValidationResults results;
  if (validator.validate(parsed, valijson::adapters::NlohmannJsonAdapter(value), &results)) return {};
  std::string text;
  valijson::ValidationResults::Error error;
  while (results.popError(error)) {
    for (const std::string& level : error.context) text += level;
    text += ": " + error.description + "\n";
  }
  return text;
}

}  // namespace driftline::testing
