#include "gateway/telemetry/fault.h"

#include <array>

namespace driftline {
namespace {

constexpr std::array<std::string_view, fault_code_count> names{
    "bad-topic",     "unknown-kind",    "unknown-station",  "too-large",
    "too-deep",      "batch-too-long",  "not-json",         "wrong-type",
    "missing-field", "time-unreadable", "time-implausible", "out-of-range",
    "too-late",      "too-many-stations", "unreadable-record", "duplicate-field",
    "not-sparkplug", "birth-missing"};

}  // namespace

std::string_view name_of(FaultCode code) { return names.at(static_cast<std::size_t>(code)); }

}  // namespace driftline
