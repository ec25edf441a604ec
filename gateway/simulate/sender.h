// A controller's voice: measures with noise and quantum, writes the payloads, and sends them over a link that delays, loses,
// doubles, overtakes and breaks. Calls come in order of time; times are seconds since the plan's start.
#pragma once

#include <array>
#include <string>
#include <string_view>
#include <vector>

#include "gateway/simulate/plan.h"
#include "gateway/simulate/rng.h"
#include "gateway/simulate/truth.h"
#include "gateway/telemetry/decode.h"
#include "rules/records/identity.h"

namespace driftline::simulate {

struct Reading {
  double at_s = 0;
  bool pump = false;
  int line = 1;
  std::array<double, static_cast<std::size_t>(lines_max)> bar{};  // true, with the sensors' drift
  double level_pct = 0;  // as the sensor sees it
  double true_level_pct = 0;
  double temp_c = 0;
};

struct Settings {
  double cycle_s = 0;
  double pump_limit_s = 0;
  double target_bar = 0;
  double residual_bar = 0;
};

enum class Delivery : std::uint8_t { live, late, lost };

class Sender {
 public:
  Sender(const PlantPlan& plant, const StationPlan& plan);

  Delivery sample(const Reading& reading);
  void settings(double at_s, const Settings& settings);
  void presence(double at_s, bool online);
  void service(double at_s, double said_s, std::string_view kind, int line);  // said_s: when it was done
  void restarted() { seq_ = 0; }

  // Messages that have arrived before `until_s`, in order of arrival, appended.
  void arrived(double until_s, std::vector<Message>& out);

  [[nodiscard]] std::int64_t station_ms(double at_s) const;  // in the station's own clock
  [[nodiscard]] std::vector<MalformedTruth>& malformed() { return malformed_; }
  [[nodiscard]] std::uint64_t samples() const { return samples_; }

 private:
  struct Pending {
    std::int64_t received_ms = 0;
    std::uint64_t order = 0;
    std::string topic;
    std::string payload;
  };
  [[nodiscard]] const Outage* outage_at(double at_s) const;
  void follow_link(double at_s);
  void release(const Outage& outage);
  void post(double at_s, const std::string& topic, std::string payload);
  void queue(double received_s, const std::string& topic, std::string payload);
  void write(const Reading& reading);
  void maybe_malformed(const Reading& reading);
  void append_time(double at_s);
  void flush_batch(double at_s);

  const StationPlan& plan_;
  const std::int64_t from_ms_;
  Rng rng_;
  std::string telemetry_topic_, settings_topic_, presence_topic_, service_topic_;
  std::vector<Pending> pending_;  // heap, earliest first
  std::vector<std::string> held_;
  std::vector<std::string> batch_;
  double batch_from_s_ = 0;
  double last_received_s_ = 0;
  double next_malformed_s_ = 0;
  std::size_t outage_ = 0;     // next that is not over
  bool told_offline_ = false;
  std::uint64_t order_ = 0;
  std::uint64_t seq_ = 0;
  std::uint64_t samples_ = 0;
  std::string text_;           // of the sample last written
  std::vector<MalformedTruth> malformed_;
};

}  // namespace driftline::simulate
