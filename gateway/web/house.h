// What the resources of the API are answered from.
#pragma once

#include <functional>
#include <memory>
#include <mutex>
#include <string>
#include <vector>

#include "gateway/web/fleet.h"
#include "gateway/web/limits.h"
#include "gateway/web/live.h"
#include "gateway/web/pace.h"
#include "gateway/web/packed_fleet.h"
#include "gateway/web/parts.h"
#include "gateway/web/request.h"
#include "gateway/web/sessions.h"
#include "gateway/web/settings.h"

namespace driftline::web {

struct House {
  const WebParts& parts;
  Fleet& fleet;
  Live& live;
  Sessions& sessions;
  SignInMarks& marks;
  std::function<std::shared_ptr<const WebSettings>()> settings;  // users may change with a reload
  std::function<int()> viewers;
  PackedFleet packed{}, packed_otherwise{};
  Pace confirm_pace{confirms_a_minute_max, sign_in_marks_max};
  std::mutex sign_in{};                                             // one password is checked at a time: each takes 64 MB
};

// Nobody needs to sign in.
[[nodiscard]] inline bool is_open(const WebSettings& settings) { return settings.users.empty(); }

}  // namespace driftline::web
