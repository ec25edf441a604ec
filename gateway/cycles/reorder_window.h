// Puts samples in order of event time.
//
// A sample is held until one `lateness_s` newer has come, or until it has been held that long by the gateway's clock.
// Order: (time, seq, content), so arrival decides nothing. A sample equal in all of it to one held is a double and is
// dropped. A sample behind what has been released is handed back: the late lane's business.
#pragma once

#include <optional>
#include <vector>

#include "gateway/telemetry/sample.h"

namespace driftline::cycles {

struct HeldSample {
  Sample sample;
  Time received{};  // when the first of its doubles came
  bool operator==(const HeldSample&) const = default;
};

enum class Insertion : std::uint8_t { held, doubled, behind };

class ReorderWindow {
 public:
  [[nodiscard]] Insertion insert(const Sample& sample, Time received);

  // Moves what is due to the end of `out`: by the watermark of event time, by the time held, by the bound on size.
  void release(Time now, std::vector<HeldSample>& out);
  void release_all(std::vector<HeldSample>& out);

  // When waiting alone releases something.
  [[nodiscard]] std::optional<Time> wake_at() const;
  [[nodiscard]] bool empty() const { return held_.empty(); }
  [[nodiscard]] std::optional<Time> released_to() const { return released_to_; }

  bool operator==(const ReorderWindow&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(held_, newest_, released_to_, last_released_);
  }

 private:
  void release_first(std::size_t count, std::vector<HeldSample>& out);

  std::vector<HeldSample> held_;             // sorted
  std::optional<Time> newest_;               // event time
  std::optional<Time> released_to_;          // event time of the last one released
  std::vector<Sample> last_released_;        // those with exactly that time, to know their doubles
};

// (time, seq, content); a sample without seq stands before those with one.
[[nodiscard]] bool stands_before(const Sample& a, const Sample& b);

}  // namespace driftline::cycles
