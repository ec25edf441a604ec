#include "gateway/journal/events.h"

#include "gateway/events/events.h"

namespace driftline::journal::events {

namespace say_of = driftline::events;
using say_of::Level;

void torn_end_cut(const std::string& file, std::uint64_t bytes) {
  say_of::say(Level::info, "journal-torn-end", file,
              std::to_string(bytes) + " bytes of a message that was being written when the gateway ended were cut");
}

void damaged(const std::string& file, std::uint64_t bytes, std::uint64_t records, Position after) {
  say_of::say(Level::error, "journal-damaged", file,
              std::to_string(bytes) + " bytes are damaged and were skipped; " + std::to_string(records) +
                  " messages from position " + std::to_string(after) + " on are lost");
}

void append_refused(AppendFailure failure, const std::string& why) {
  say_of::say(Level::error, "journal-append-refused", name_of(failure), why);
}

void append_works_again(AppendFailure failure) {
  say_of::say(Level::info, "journal-append-back", name_of(failure), "messages are taken again");
}

void sync_failed(const std::string& why) {
  say_of::say(Level::error, "journal-sync-failed", "",
              why + ": what is on the disk is unknown, no message is taken until the journal has a new file");
}

void sync_back(std::uint64_t records) {
  say_of::say(Level::info, "journal-sync-back", "",
              std::to_string(records) + " messages were carried over into a new file, messages are taken again");
}

void records_lost_in_carry_over(const std::string& file, std::uint64_t records) {
  say_of::say(Level::error, "journal-carry-over-lost", file,
              std::to_string(records) + " messages could not be read back after a failed sync and are lost");
}

void clock_behind(std::int64_t ms) {
  say_of::say(Level::warn, "journal-clock-behind", "",
              "the clock went back by " + std::to_string(ms) + " ms; stamps stand still until it has caught up");
}

void segment_deleted() { say_of::count("journal-segment-deleted", ""); }

void delete_failed(const std::string& file, const std::string& why) {
  say_of::say(Level::warn, "journal-delete-failed", file, why);
}

void read_failed(const std::string& file, const std::string& why) {
  say_of::say(Level::error, "journal-read-failed", file, why);
}

}  // namespace driftline::journal::events
