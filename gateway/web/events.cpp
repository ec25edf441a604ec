#include "gateway/web/events.h"

#include "gateway/events/events.h"

namespace driftline::web::events {

namespace say_of = driftline::events;
using say_of::Level;

void listening(const std::string& address) { say_of::say(Level::info, "page-listens", address, "the page is there"); }

void open_to_all(const std::string& address) {
  say_of::say(Level::info, "page-open", address, "no users are set up: everybody on this machine may do everything");
}

void turned_away(const std::string& address) {
  say_of::say(Level::warn, "page-turned-away", address, "too many connections");
}

void refused(int status, const std::string& address) {
  say_of::say(Level::debug, "page-refused", address, "what came was no request that can be answered: " + std::to_string(status));
}

void signed_in(const std::string& user, const std::string& address) {
  say_of::say(Level::info, "page-signed-in", user, "from " + address);
}

void sign_in_refused(const std::string& user, const std::string& address) {
  say_of::say(Level::warn, "page-sign-in-refused", address, "as \"" + user + "\"");
}

void link_refused(const std::string& address) { say_of::say(Level::warn, "link-refused", address, "a link to take a warning is altered, expired or none of ours"); }

void acted(std::string_view what, const std::string& on, const std::string& who) {
  say_of::say(Level::info, "page-acted", on, std::string(what) + " by " + who);
}

void history_unreadable(std::string_view why, const std::string& text) {
  say_of::say(Level::warn, "page-history-unreadable", why, text);
}

void failed(const std::string& where, const std::string& what) {
  say_of::say(Level::error, "page-failed", where, "a request could not be answered: " + what);
}

}  // namespace driftline::web::events
