// The fold of one site over what its stations have settled.
#pragma once

#include <vector>

#include "gateway/app/fold.h"

namespace driftline::fold {

class SiteJudge {
 public:
  SiteJudge(Site& site, SiteOutput& out) : site_(site), out_(out) {}

  // Takes the steps of all stations in order, with the site's own waiting in between, up to `batch_end`.
  void judge(Time batch_end);

 private:
  void take(Step& step, const Station& station);
  void advance(Time until);
  void hand_on(StepKey key);

  Site& site_;
  SiteOutput& out_;
  std::vector<rules::SiteOutput> site_outputs_;
};

}  // namespace driftline::fold
