// Bounds of the page's server, each with its reason.
#pragma once

#include <chrono>
#include <cstddef>
#include <cstdint>

namespace driftline::web {

// One request. The longest honest one is a list of 100 stations in the target; bodies are notes.
inline constexpr std::size_t target_bytes_max = 8 << 10;
inline constexpr std::size_t header_bytes_max = 16 << 10;
inline constexpr std::size_t body_bytes_max = 32 << 10;
inline constexpr int parameters_max = 16;
static_assert(target_bytes_max < header_bytes_max, "the target stands in the header");

// A whole request must have come within this, however its bytes trickle; an answer must be taken within that.
inline constexpr std::chrono::seconds request_within{10};
inline constexpr std::chrono::seconds answer_within{30};
// A connection may wait this long for its next request. Browsers keep them for a minute.
inline constexpr std::chrono::seconds idle_for{75};
// What a client may still send after an answer that closes: else the answer is lost to a reset.
inline constexpr std::chrono::seconds linger_for{2};

// All sockets together: under the usual 1,024 descriptors of a process, with room for the journal, the history and the broker.
inline constexpr int connections_max = 800;
inline constexpr int connections_closing_max = 16;  // of them, that have been told to end to make room and have not yet
// From one address that is neither loopback nor a trusted proxy: a browser opens 6.
inline constexpr int connections_per_address_max = 48;
inline constexpr int streams_max = 600;
inline constexpr int streams_per_address_max = 24;
static_assert(streams_max < connections_max, "a list must still be had while all streams are taken");

// A live feed's unsent bytes; over it the stream is closed and the browser comes again. With the socket's own buffers and the
// connection this keeps a viewer under 50 kB.
inline constexpr std::size_t stream_unsent_bytes_max = 32 << 10;
// The first answer of a watched station's pressure may be larger than what trickles later.
inline constexpr int stream_send_buffer_bytes = 16 << 10;
inline constexpr std::chrono::seconds stream_comment_every{15};
inline constexpr std::chrono::seconds stream_pulse_every{5};
inline constexpr std::chrono::hours stream_for{2};  // a sign-in that was taken back ends with it

// Events that are kept for a stream that comes again with Last-Event-ID: some minutes of a lively plant.
inline constexpr std::size_t events_kept = 512;
inline constexpr std::size_t event_bytes_kept = 4 << 20;
// A change of more rows than this is told as "fetch the list anew": it would not fit into stream_unsent_bytes_max.
inline constexpr std::size_t fleet_rows_told_max = 100;

// Requests that wait for a thread that reads the history; more are turned away with 503.
inline constexpr std::size_t waiting_requests_max = 256;
inline constexpr int reading_threads = 3;

// The list of stations is made anew at most this often; and this often while the gateway catches up: what is shown is old then
// anyway, and the judging needs the processor.
inline constexpr std::chrono::milliseconds fleet_every{1000};
inline constexpr std::chrono::milliseconds fleet_every_behind{4000};
inline constexpr std::uint64_t behind_messages = 2'000;  // that wait: some tens of ms of judging
inline constexpr int strip_days = 30;
inline constexpr int strips_asked_max = 100;
// Rows that are read at a time for the strips: some ms, so that the log of the store does not grow meanwhile.
inline constexpr int strip_rows_slice = 10'000;

// Rows of an answer.
inline constexpr int turns_read_max = 20'000;
inline constexpr int turn_points_max = 5'000;
inline constexpr int days_read_max = 2'000;
inline constexpr int warnings_read_max = 1'000;
inline constexpr int history_rows_max = 5'000;  // changes of warnings that are read at a time
inline constexpr int acts_told_max = 50;
inline constexpr int notes_told_max = 200;
inline constexpr int messages_told_max = 500;
inline constexpr int messages_told_unless = 50;
inline constexpr std::chrono::hours messages_looked_back{24 * 7};

// Watched stations at once, and samples kept of each while somebody watches: 10 Hz for three minutes, or a turn at 1 Hz.
inline constexpr std::size_t watched_max = 256;
inline constexpr std::size_t samples_kept = 1'800;
// Of what came before somebody watched, for the first answer: some 16 kB, and more than a chart has pixels.
inline constexpr std::size_t first_samples_max = 600;
// Of each later one. A quarter of a second holds more only while the gateway catches up, and then nobody reads each.
inline constexpr std::size_t later_samples_max = 60;
inline constexpr std::chrono::milliseconds pressure_every{250};
// Stations at once whose last minutes are read back from the journal: threads are left for those who ask for other things.
inline constexpr int fillings_max = reading_threads - 1;
inline constexpr std::size_t samples_waiting_max = 20'000;

// Signing in.
inline constexpr std::size_t sessions_max = 2'000;
inline constexpr std::chrono::hours session_idle{12};
inline constexpr std::chrono::hours session_for{24 * 7};
// How far a session's last use, as the history has it, may lag: one row then.
inline constexpr std::chrono::minutes session_kept_every{10};
inline constexpr int sign_in_failures_free = 5;         // then each further one doubles the wait
inline constexpr std::chrono::seconds sign_in_wait_first{2};
inline constexpr std::chrono::seconds sign_in_wait_max{15 * 60};
inline constexpr std::size_t sign_in_marks_max = 10'000;  // addresses and names that are remembered
inline constexpr std::size_t password_characters_min = 10;
inline constexpr std::size_t password_bytes_max = 1'024;  // hashing costs the same for all, reading does not
inline constexpr std::size_t users_max = 10'000;

// Links of messages, opened or pressed, from one address. A person needs two of them; a plant's people may share an address.
inline constexpr int confirms_a_minute_max = 60;

// What people write.
inline constexpr std::size_t name_characters_max = 80;
inline constexpr std::size_t note_characters_max = 500;
inline constexpr std::chrono::hours note_back_max{24 * 30};

}  // namespace driftline::web
