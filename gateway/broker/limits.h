// Bounds of this room.
#pragma once

#include <chrono>
#include <cstddef>
#include <cstdint>

#include "gateway/journal/limits.h"
#include "gateway/telemetry/limits.h"

namespace driftline::broker {

inline constexpr int keep_alive_s_min = 10;  // under it an ordinary stall of a disk looks like a dead client

// How long the message callback may wait for a journal that cannot take a message. Pings leave from the same
// thread, so it must end well before the broker gives us up, and it holds up every other MQTT client of the
// process.
inline constexpr std::chrono::milliseconds journal_wait_max{2000};
inline constexpr std::chrono::milliseconds journal_wait_step{100};
static_assert(journal_wait_max * 3 <= std::chrono::seconds{keep_alive_s_min});

// A callback that takes longer than this is counted and said: it eats keep-alive time.
inline constexpr std::chrono::milliseconds callback_slow{500};
static_assert(callback_slow < journal_wait_max);

inline constexpr std::chrono::seconds connect_max{10};  // TCP, TLS and CONNACK together
inline constexpr std::chrono::seconds subscribe_max{10};
inline constexpr std::chrono::seconds disconnect_max{
    3};  // a clean end must fit into a service manager's patience
inline constexpr std::chrono::seconds confirm_max{20};  // for one batch of publications

// MQTT 5 maximum packet size: the payload's bound, a topic of greatest length, and room for properties. What
// lies between the two bounds reaches us and becomes a fault; what is larger the broker does not send.
inline constexpr std::uint32_t packet_overhead_bytes = 65'535 + 1'024;
static_assert(telemetry_limits::payload_bytes_max <
              journal::payload_bytes_max);  // a cut payload must fit the journal

// Publications on their way at one time; mosquitto allows 20 unless set otherwise (its CONNACK says so and
// Paho obeys).
inline constexpr std::size_t publications_in_flight = 100;
inline constexpr std::size_t rows_per_batch = 500;  // rows of the history published and confirmed at a time

inline constexpr std::chrono::milliseconds look_spacing{
    20};  // between looks at the history: several commits in one
inline constexpr std::size_t batches_between_looks = 20;  // then the thread looks whether it is to stop
inline constexpr std::size_t batches_at_end =
    20;  // what a clean end still publishes; the rest waits in the history

// People's acts: a screen that answers all that is open at once sends some dozens. Each is a write to the disk in the store that
// the judgement writes too, so they are spaced.
inline constexpr std::size_t acts_waiting_max = 64;
inline constexpr std::chrono::milliseconds act_spacing{20};

inline constexpr std::size_t password_bytes_max = 65'535;  // MQTT 5, 3.1.3.6: binary data

}  // namespace driftline::broker
