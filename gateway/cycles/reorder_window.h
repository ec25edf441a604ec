// Puts samples in order of event time.
//
// A sample is held until one `lateness_s` newer has come, or until it has been held that long by the gateway's clock.
// Order: (time, seq, content), so arrival decides nothing. A sample equal in all of it to one held is a double and is
// dropped. A sample behind what has been released is handed back: the late lane's business.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "gateway/telemetry/sample.h"

namespace driftline::cycles {

struct HeldSample {
  Sample sample;
  Time received{};              // when the first of its doubles came
  std::int64_t step_ms = 0;     // the station's clock was moved by this before the sample
  bool late = false;            // it came long after it was measured, as things come from this station
  bool operator==(const HeldSample&) const = default;
};

enum class Insertion : std::uint8_t { held, doubled, behind };

class ReorderWindow {
 public:
  [[nodiscard]] Insertion insert(const HeldSample& sample);

  // What is due: by the watermark of event time, by the time held (`wait_s`, not less than lateness_s), by the bound on
  // size. The samples stand where they are until the next insert; nothing is copied or allocated.
  [[nodiscard]] std::span<const HeldSample> release(Time now, double wait_s);
  [[nodiscard]] std::span<const HeldSample> release_all();

  // When waiting alone releases something.
  [[nodiscard]] std::optional<Time> wake_at(double wait_s) const;
  void forget();  // the clock was moved: what was released no longer says what is behind
  [[nodiscard]] std::optional<Time> newest() const { return newest_; }
  [[nodiscard]] std::size_t size() const { return held_.size() - taken_; }
  [[nodiscard]] std::optional<Time> released_to() const { return released_to_; }

  bool operator==(const ReorderWindow& other) const;  // of what is held, however it lies in memory
  template <class Archive>
  void save(Archive& archive) const {
    archive(std::vector<HeldSample>(held_.begin() + static_cast<std::ptrdiff_t>(taken_), held_.end()), newest_, released_to_,
            last_released_, first_received_);
  }
  template <class Archive>
  void load(Archive& archive) {
    taken_ = 0;
    archive(held_, newest_, released_to_, last_released_, first_received_);
  }

 private:
  [[nodiscard]] std::span<const HeldSample> release_to(std::size_t due);
  void drop_released();

  std::vector<HeldSample> held_;             // sorted; the first `taken_` are released already
  std::size_t taken_ = 0;
  std::optional<Time> first_received_;       // of those held
  std::optional<Time> newest_;               // event time
  std::optional<Time> released_to_;          // event time of the last one released
  std::vector<Sample> last_released_;        // those with exactly that time, to know their doubles
};

// (time, seq, content); a sample without seq stands before those with one.
[[nodiscard]] bool stands_before(const Sample& a, const Sample& b);

}  // namespace driftline::cycles
