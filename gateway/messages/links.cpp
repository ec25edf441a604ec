#include "gateway/messages/links.h"

#include "rules/records/names.h"

namespace driftline::messages {

std::string url_escaped(std::string_view text) {
  static constexpr std::string_view digits = "0123456789ABCDEF";
  static constexpr std::string_view plain = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._~/";
  std::string out;
  for (const char c : text) {
    if (plain.find(c) != std::string_view::npos) {
      out += c;
      continue;
    }
    const auto byte = static_cast<unsigned char>(c);
    out += '%';
    out += digits[byte >> 4];
    out += digits[byte & 15];
  }
  return out;
}

Links page_links(const std::string& page_url) {
  if (page_url.empty()) return {};
  const auto warning = [page_url](const LinkAbout& about) {
    const history::WarningRef& ref = about.warning;
    return page_url + "/warnings?key=" + url_escaped(ref.station.site + "/" + ref.station.station + "/" + (ref.line ? "line-" + std::to_string(*ref.line) : "station") +
                                                     "/" + std::string(name_of(ref.condition)));
  };
  const auto station = [page_url](const LinkAbout& about) {
    return page_url + "/station/" + url_escaped(about.warning.station.site + "/" + about.warning.station.station);
  };
  return {warning, station};
}

}  // namespace driftline::messages
