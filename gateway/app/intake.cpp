#include "gateway/app/intake.h"

#include <algorithm>

namespace driftline {

Intake::Intake(journal::Journal& journal, std::function<Time()> wall, Time not_before)
    : journal_(journal), wall_(std::move(wall)), floor_(not_before) {}

Time Intake::stamp_locked() {
  floor_ = std::max(floor_, wall_());
  return floor_;
}

bool Intake::take(std::string_view topic, std::string_view payload) {
  const std::lock_guard guard(mutex_);
  const auto appended = journal_.append(stamp_locked(), topic, payload);
  if (appended) floor_ = std::max(floor_, appended->received);
  return appended.has_value() || !journal::worth_retrying(appended.error());
}

Mark Intake::mark() {
  const std::lock_guard guard(mutex_);
  return {stamp_locked(), journal_.status().next};
}

}  // namespace driftline
