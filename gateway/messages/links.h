// Where the links of a message lead: the one place that makes them. What signs a link, and the page behind it, lie elsewhere and
// are handed in.
#pragma once

#include <functional>
#include <string>

#include "gateway/history/life_rows.h"
#include "rules/records/time.h"

namespace driftline::messages {

// For whom a link is made, and what it is about.
struct LinkAbout {
  history::WarningRef warning{};
  Time raised{};       // this raise of it alone
  std::string person;  // who gets the message
  Time now{};          // what expires counts from here
};

// Either may be empty, or answer an empty string: then there is no such link. What they answer is a URL in ASCII without spaces.
// Called by the threads of the channels.
struct Links {
  std::function<std::string(const LinkAbout&)> acknowledge;
  std::function<std::string(const LinkAbout&)> chart;
};

// Links to the page, where people reach it: its warning, its station. `page_url` empty: none.
[[nodiscard]] Links page_links(const std::string& page_url);

// Each byte but A-Z a-z 0-9 - . _ ~ and / as %XX (RFC 3986, 2.1 and 2.3).
[[nodiscard]] std::string url_escaped(std::string_view text);

}  // namespace driftline::messages
