#include "gateway/messages/events.h"

#include "gateway/events/events.h"

namespace driftline::messages::events {

namespace say_of = driftline::events;
using say_of::Level;

void planned(std::size_t messages) { say_of::count("messages-planned", "", messages); }
void sent(const std::string& channel, std::size_t messages) { say_of::count("messages-sent", channel, messages); }
void refused(const std::string& channel, const std::string& person, const std::string& answer) {
  say_of::say(Level::error, "message-refused", channel, "to " + person + ": " + answer);
}
void given_up(const std::string& channel, const std::string& person) {
  say_of::say(Level::warn, "message-unsure", channel, "to " + person + ": handed over twice without an answer; not sent a third time");
}
void channel_down(const std::string& channel, const std::string& why) {
  say_of::say(Level::error, "channel-down", channel, why + "; messages wait, and go by the other channels");
}
void channel_back(const std::string& channel) { say_of::say(Level::info, "channel-back", channel, "what waited goes out now"); }
void history_trouble(const history::Trouble& trouble) { say_of::say(Level::warn, "messages-history", name_of(trouble.cause), trouble.text); }

}  // namespace driftline::messages::events
