#include "gateway/broker/events.h"

#include <string>

#include "gateway/events/events.h"

namespace driftline::broker::events {

using driftline::events::count;
using driftline::events::Level;
using driftline::events::say;
using driftline::events::say_change;

void connected(std::string_view client, std::string_view broker, std::optional<bool> session_kept) {
  const std::string_view session = !session_kept   ? ""
                                   : *session_kept ? ", which had kept our session"
                                                   : ", which held no session of ours: subscribed anew";
  say_change(Level::info, "broker-connected", client, "connected to " + std::string(broker) + std::string(session));
}

void connect_failed(std::string_view client, const LinkFailure& failure, double retry_in_s) {
  // The word of the trouble is part of the subject, so that a new cause is said at once while a standing one
  // is folded.
  say(Level::warn, "broker-connect-failed", std::string(client) + " " + std::string(name_of(failure.trouble)),
      failure.text + "; next attempt in " + std::to_string(static_cast<int>(retry_in_s + 0.5)) + " s");
}

void connection_lost(std::string_view client, const LinkFailure& failure) {
  say_change(Level::warn, "broker-connection-lost", client, failure.text);
}

void disconnected(std::string_view client) {
  say_change(Level::info, "broker-disconnected", client, "disconnected as asked");
}

void payload_cut(std::string_view topic, std::size_t bytes, std::size_t bound) {
  say(Level::warn, "payload-cut", topic,
      "payload of " + std::to_string(bytes) + " bytes is over the bound of " + std::to_string(bound) +
          "; journalled cut, and a fault");
}

void journal_refuses(std::string_view topic) {
  say(Level::error, "journal-refuses", "",
      "the journal cannot take a message of " + std::string(topic) +
          "; nothing is acknowledged until it can");
}

void journal_takes_again(std::uint64_t refused) {
  say_change(Level::info, "journal-takes-again", "",
      "the journal takes messages again; " + std::to_string(refused) +
          " were left with the broker, which sends them again");
}

void message_left_with_broker(std::string_view topic) {
  say(Level::warn, "message-left-with-broker", "",
      "a message of " + std::string(topic) +
          " is not acknowledged; the connection is cut so that the broker sends it again");
}

void callback_slow(std::chrono::milliseconds took) {
  say(Level::warn, "callback-slow", "",
      "taking one message into the journal took " + std::to_string(took.count()) + " ms");
}

void callback_threw(std::string_view what) {
  say(Level::error, "callback-threw", "", what);
}

void publishing_stopped(std::string_view client, const LinkFailure& failure) {
  say_change(Level::warn, "publishing-stopped", std::string(client) + " " + std::string(name_of(failure.trouble)),
      failure.text + "; what is not confirmed is published again");
}

void outbox_unreadable(std::string_view cause, std::string_view text) {
  say(Level::warn, "outbox-unreadable", cause, "what is to be published waits: " + std::string(text));
}

void act_dropped(std::string_view client) {
  say(Level::warn, "act-dropped", client, "too many acts on warnings wait: this one is not done and not answered; whoever sent it may ask again");
}

void published(std::uint64_t messages) {
  count("published", "", messages);
}

}  // namespace driftline::broker::events
