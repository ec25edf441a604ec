#include "gateway/simulate/sender.h"

#include <algorithm>
#include <charconv>
#include <cmath>

#include "rules/records/time_text.h"

namespace driftline::simulate {
namespace {

constexpr double keep_alive_s = 45;      // until the broker tells of a broken link
constexpr std::size_t batch_samples = 60;  // of what is sent together after an outage

int decimals_of(double quantum) {
  if (quantum >= 1) return 0;
  for (int d = 1; d < 4; ++d) {
    const double scaled = quantum * std::pow(10, d);
    if (std::abs(scaled - std::round(scaled)) < 1e-9) return d;
  }
  return 4;
}

void append_number(std::string& out, double value, double quantum) {
  double rounded = std::round(value / quantum) * quantum;
  if (std::abs(rounded) < quantum / 2) rounded = 0;  // no "-0.0"
  char digits[32];
  const auto end = std::to_chars(digits, digits + sizeof digits, rounded, std::chars_format::fixed, decimals_of(quantum));
  out.append(digits, end.ptr);
}

void append_setting(std::string& out, std::string_view name, double value) {
  out += '"';
  out += name;
  out += "\":";
  char digits[32];
  const auto end = std::to_chars(digits, digits + sizeof digits, std::round(value * 10) / 10);
  out.append(digits, end.ptr);
  out += ',';
}

bool arrives_later(std::int64_t a_ms, std::uint64_t a, std::int64_t b_ms, std::uint64_t b) {
  return a_ms != b_ms ? a_ms > b_ms : a > b;
}

}  // namespace

Sender::Sender(const PlantPlan& plant, const StationPlan& plan)
    : plan_(plan), from_ms_(ms_since_1970(plant.from)), rng_(seed_for(plan.seed, "sender")) {
  const std::string base = plant.topic_root + "/" + plan.site + "/" + plan.name + "/";
  telemetry_topic_ = base + "telemetry";
  settings_topic_ = base + "settings";
  presence_topic_ = base + "presence";
  service_topic_ = base + "service";
  seq_ = static_cast<std::uint64_t>(rng_.whole(0, 400000));
  next_malformed_s_ = plan.sender.malformed_per_day > 0 ? rng_.exponential(86400 / plan.sender.malformed_per_day) : 1e18;
}

std::int64_t Sender::station_ms(double at_s) const {
  double shift_s = 0;
  for (const ClockStep& step : plan_.clock_steps)
    if (at_s >= step.at_day * 86400) shift_s += step.step_s;
  return from_ms_ + std::llround((at_s + shift_s) * 1000);
}

const Outage* Sender::outage_at(double at_s) const {
  if (outage_ >= plan_.outages.size()) return nullptr;
  const Outage& outage = plan_.outages[outage_];
  return at_s >= outage.from_day * 86400 && at_s < outage.from_day * 86400 + outage.hours * 3600 ? &outage : nullptr;
}

// What became known about the link until `at_s`: the will after a keep-alive, the held samples after the end.
void Sender::follow_link(double at_s) {
  while (outage_ < plan_.outages.size()) {
    const Outage& outage = plan_.outages[outage_];
    const double from_s = outage.from_day * 86400;
    const double end_s = from_s + outage.hours * 3600;
    if (at_s < from_s) return;
    if (!told_offline_) {
      flush_batch(from_s);
      told_offline_ = true;
      if (plan_.sender.presence && end_s - from_s > keep_alive_s) queue(from_s + keep_alive_s, presence_topic_, R"({"state":"offline"})");
    }
    if (at_s < end_s) return;
    last_received_s_ = std::max(last_received_s_, end_s);
    if (plan_.sender.presence) queue(end_s + 0.2, presence_topic_, R"({"state":"online"})");
    release(outage);
    told_offline_ = false;
    ++outage_;
  }
}

void Sender::release(const Outage& outage) {
  double at_s = outage.from_day * 86400 + outage.hours * 3600 + 1.5;
  if (outage.kind == OutageKind::backfilled) {
    for (std::string& text : held_) queue(at_s += 0.02, telemetry_topic_, std::move(text));
  } else {
    for (std::size_t i = 0; i < held_.size(); i += batch_samples) {
      std::string all = "[";
      for (std::size_t k = i; k < std::min(held_.size(), i + batch_samples); ++k) {
        if (k > i) all += ',';
        all += held_[k];
      }
      all += ']';
      queue(at_s += 0.1, telemetry_topic_, std::move(all));
    }
  }
  held_.clear();
  last_received_s_ = std::max(last_received_s_, at_s);
}

void Sender::queue(double received_s, const std::string& topic, std::string payload) {
  pending_.push_back({from_ms_ + std::llround(received_s * 1000), order_++, topic, std::move(payload)});
  std::ranges::push_heap(pending_, [](const Pending& a, const Pending& b) {
    return arrives_later(a.received_ms, a.order, b.received_ms, b.order);
  });
}

void Sender::post(double at_s, const std::string& topic, std::string payload) {
  const double latency = plan_.sender.latency_s * std::exp(0.5 * rng_.normal());
  last_received_s_ = std::max(last_received_s_ + 0.001, at_s + latency);
  queue(last_received_s_, topic, std::move(payload));
}

void Sender::append_time(double at_s) {
  const std::int64_t ms = station_ms(at_s);
  if (plan_.sender.time_as_ms) {
    text_ += std::to_string(ms);
    return;
  }
  const int offset = plan_.sender.utc_offset_min;
  std::string stamp = rfc3339(time_from_ms(ms + offset * 60000LL));
  if (offset != 0) {
    const int size = std::abs(offset);
    stamp.back() = offset > 0 ? '+' : '-';
    const int parts[] = {size / 60 / 10, size / 60 % 10, -1, size % 60 / 10, size % 10};
    for (const int part : parts) stamp += part < 0 ? ':' : static_cast<char>('0' + part);
  }
  text_ += '"' + stamp + '"';
}

void Sender::write(const Reading& reading) {
  const SenderPlan& with = plan_.sender;
  text_ = R"({"time":)";
  append_time(reading.at_s);
  if (with.seq) text_ += ",\"seq\":" + std::to_string(seq_);
  if (with.pump) text_ += reading.pump ? ",\"pump\":true" : ",\"pump\":false";
  if (with.line) text_ += ",\"line\":" + std::to_string(reading.line);
  text_ += ",\"pressure_bar\":[";
  for (std::size_t i = 0; i < plan_.lines.size(); ++i) {
    if (i > 0) text_ += ',';
    append_number(text_, reading.bar[i] + with.noise_bar * rng_.normal(), with.quantum_bar);
  }
  text_ += ']';
  if (with.level) {
    const double seen = std::clamp(reading.level_pct + with.level_noise_pct * rng_.normal(), 0.0, 100.0);
    text_ += ",\"level_pct\":";
    append_number(text_, seen, with.level_quantum_pct);
  }
  if (with.low_switch) text_ += reading.true_level_pct < plan_.low_pct ? ",\"level_low\":true" : ",\"level_low\":false";
  if (with.temp) {
    text_ += ",\"temp_c\":";
    append_number(text_, reading.temp_c + with.temp_bias_c + 0.1 * rng_.normal(), 0.1);
  }
  text_ += '}';
}

Delivery Sender::sample(const Reading& reading) {
  const SenderPlan& with = plan_.sender;
  follow_link(reading.at_s);
  ++samples_;
  write(reading);
  ++seq_;
  if (const Outage* outage = outage_at(reading.at_s)) {
    if (outage->kind == OutageKind::lost) return Delivery::lost;
    held_.push_back(text_);
    return Delivery::late;
  }
  if (with.drop > 0 && rng_.chance(with.drop)) return Delivery::lost;
  if (reading.at_s >= next_malformed_s_) maybe_malformed(reading);
  if (with.batch_s > 0) {
    if (batch_.empty()) batch_from_s_ = reading.at_s;
    batch_.push_back(text_);
    if (reading.at_s - batch_from_s_ >= with.batch_s) flush_batch(reading.at_s);
    return Delivery::live;
  }
  if (with.duplicate > 0 && rng_.chance(with.duplicate)) queue(reading.at_s + with.latency_s + rng_.between(0, 3), telemetry_topic_, text_);
  if (with.late > 0 && rng_.chance(with.late)) {
    queue(reading.at_s + with.latency_s + rng_.between(0, with.late_s), telemetry_topic_, text_);
    return Delivery::live;
  }
  post(reading.at_s, telemetry_topic_, text_);
  return Delivery::live;
}

void Sender::flush_batch(double at_s) {
  if (batch_.empty()) return;
  std::string all = "[";
  for (std::size_t i = 0; i < batch_.size(); ++i) all += (i > 0 ? "," : "") + batch_[i];
  batch_.clear();
  post(at_s, telemetry_topic_, all + "]");
}

void Sender::maybe_malformed(const Reading& reading) {
  next_malformed_s_ = reading.at_s + rng_.exponential(86400 / plan_.sender.malformed_per_day);
  struct Kind {
    const char* what;
    const char* reported;
  };
  static constexpr Kind kinds[] = {{"cut off", "must"}, {"no time", "must"}, {"not JSON", "must"}, {"unknown field", "never"}};
  const int which = rng_.whole(0, 3);
  std::string payload;
  if (which == 0) payload = text_.substr(0, text_.size() / 2);
  if (which == 1) payload = R"({"pressure_bar":[1.0],"pump":false})";
  if (which == 2) payload = "hello\x01world";
  if (which == 3) payload = text_.substr(0, text_.size() - 1) + R"(,"firmware":"b7"})";
  post(reading.at_s, telemetry_topic_, payload);
  malformed_.push_back({from_ms_ + std::llround(last_received_s_ * 1000), telemetry_topic_, kinds[which].what, kinds[which].reported});
}

void Sender::settings(double at_s, const Settings& settings) {
  if (!plan_.sender.announce) return;
  follow_link(at_s);
  if (outage_at(at_s)) return;
  std::string payload = "{";
  append_setting(payload, "cycle_s", settings.cycle_s);
  append_setting(payload, "pump_limit_s", settings.pump_limit_s);
  append_setting(payload, "target_bar", settings.target_bar);
  append_setting(payload, "residual_bar", settings.residual_bar);
  payload += "\"lines\":" + std::to_string(plan_.lines.size()) + "}";
  post(at_s, settings_topic_, payload);
}

void Sender::presence(double at_s, bool online) {
  if (!plan_.sender.presence) return;
  follow_link(at_s);
  if (outage_at(at_s)) return;
  flush_batch(at_s);
  post(at_s, presence_topic_, online ? R"({"state":"online"})" : R"({"state":"offline"})");
}

void Sender::service(double at_s, double said_s, std::string_view kind, int line) {
  follow_link(at_s);
  text_ = R"({"time":)";
  append_time(said_s);
  text_ += R"(,"kind":")";
  text_ += kind;
  text_ += '"';
  if (line > 0) text_ += ",\"line\":" + std::to_string(line);
  text_ += '}';
  post(at_s, service_topic_, text_);  // a person's telephone: another link
}

void Sender::arrived(double until_s, std::vector<Message>& out) {
  follow_link(until_s);
  const std::int64_t until_ms = from_ms_ + std::llround(until_s * 1000);
  const auto later = [](const Pending& a, const Pending& b) {
    return arrives_later(a.received_ms, a.order, b.received_ms, b.order);
  };
  while (!pending_.empty() && pending_.front().received_ms < until_ms) {
    std::ranges::pop_heap(pending_, later);
    Pending& first = pending_.back();
    out.push_back({time_from_ms(first.received_ms), std::move(first.topic), std::move(first.payload)});
    pending_.pop_back();
  }
}

}  // namespace driftline::simulate
