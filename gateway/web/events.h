// What the page's server says to the log and the counters.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

namespace driftline::web::events {

void listening(const std::string& address);
void open_to_all(const std::string& address);       // no users, loopback only
void turned_away(const std::string& address);       // too many connections
void refused(int status, const std::string& address);  // what came was no request
void signed_in(const std::string& user, const std::string& address);
void sign_in_refused(const std::string& user, const std::string& address);
void link_refused(const std::string& address);  // of a message: altered, expired or none of ours
void acted(std::string_view what, const std::string& on, const std::string& who);
void history_unreadable(std::string_view why, const std::string& text);
void failed(const std::string& where, const std::string& what);  // we are wrong: a handler threw

}  // namespace driftline::web::events
