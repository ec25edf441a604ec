// Plants drawn from a seed: stations that differ in size, grease, sender and people, at invented sites.
#pragma once

#include <cstdint>

#include "gateway/simulate/plan.h"

namespace driftline::simulate {

enum class Scene : std::uint8_t {
  demo,     // a few developing faults, clean senders: for looking at
  healthy,  // nothing wrong, but weather, people, outages
  season,   // one cause a station, in turn, every fifth healthy; all forms; dirty senders
};

struct Wishes {
  Scene scene = Scene::demo;
  std::uint64_t seed = 1;
  Time from{};
  double days = 30;
  int stations = 12;
};

[[nodiscard]] PlantPlan invent_plant(const Wishes& wishes);

// A fault of this kind at a station of this plan, drawn where `fault` leaves 0.
[[nodiscard]] FaultPlan draw_fault(Cause kind, Form form, const StationPlan& station, double days);

}  // namespace driftline::simulate
