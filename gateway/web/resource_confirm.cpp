// The page behind the link of a message (gateway/messages/confirm.h). Mail scanners open links: opening changes nothing, one press
// does. It needs no sign-in and no script; what may be done stands signed in the link itself, so nothing that another site could
// make a browser send would do anything that the link's holder could not do anyway.
#include <algorithm>
#include <array>

#include <sodium.h>

#include "gateway/history/warning_key.h"
#include "gateway/messages/confirm.h"
#include "gateway/web/events.h"
#include "gateway/web/resources.h"
#include "gateway/web/warning_view.h"
#include "rules/records/names.h"
#include "rules/records/time_text.h"

namespace driftline::web {
namespace {

using messages::LinkClaim;
using messages::LinkFault;

constexpr std::string_view style =
    "body{font:18px/1.5 system-ui,sans-serif;max-width:34em;margin:0 auto;padding:1rem;color:#1c1c1c;background:#fff}"
    "h1{font-size:1.25rem;line-height:1.3;margin:.5rem 0 1rem}"
    "p{margin:.5rem 0}"
    ".quiet{color:#555;font-size:1rem}"
    "button{font:inherit;font-weight:700;width:100%;min-height:3.5rem;margin:1rem 0;border:0;border-radius:.5rem;background:#0b57a4;color:#fff}"
    "button:focus-visible{outline:3px solid #1c1c1c;outline-offset:3px}"
    "@media(prefers-color-scheme:dark){body{color:#eee;background:#161616}.quiet{color:#b5b5b5}button{background:#8ab8f0;color:#0d0d0d}"
    "button:focus-visible{outline-color:#eee}}";

std::string escaped(std::string_view text) {
  std::string out;
  for (const char c : text) switch (c) {
      case '&': out += "&amp;"; break;
      case '<': out += "&lt;"; break;
      case '>': out += "&gt;"; break;
      case '"': out += "&quot;"; break;
      case '\'': out += "&#39;"; break;
      default: out += c;
    }
  return out;
}

std::string paragraph(std::string_view text, bool quiet = false) { return (quiet ? "<p class=\"quiet\">" : "<p>") + escaped(text) + "</p>\n"; }

// The style may be used because its hash is named; nothing else may.
const std::string& policy() {
  static const std::string text = [] {
    std::array<unsigned char, crypto_hash_sha256_BYTES> hash{};
    crypto_hash_sha256(hash.data(), static_cast<const unsigned char*>(static_cast<const void*>(style.data())), style.size());
    std::array<char, sodium_base64_ENCODED_LEN(crypto_hash_sha256_BYTES, sodium_base64_VARIANT_ORIGINAL)> base64{};
    sodium_bin2base64(base64.data(), base64.size(), hash.data(), hash.size(), sodium_base64_VARIANT_ORIGINAL);
    return "default-src 'none'; style-src 'sha256-" + std::string(base64.data()) + "'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";
  }();
  return text;
}

Answer page(int status, const std::string& title, const std::string& body) {
  Answer answer;
  answer.status = status;
  answer.type = "text/html; charset=utf-8";
  answer.body = std::make_shared<const std::string>(
      "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">\n"
      "<meta name=\"robots\" content=\"noindex,nofollow\">\n<title>" +
      escaped(title) + "</title>\n<style>" + std::string(style) + "</style>\n</head>\n<body>\n<main>\n<h1>" + escaped(title) + "</h1>\n" + body +
      "</main>\n</body>\n</html>\n");
  answer.headers = {{"Content-Security-Policy", policy()}, {"X-Robots-Tag", "noindex, nofollow"}};
  return answer;
}

Answer page_of(LinkFault fault) {
  const std::string instead = paragraph("Nothing was changed. Open the gateway's page to see the warning, or answer the next message.", true);
  switch (fault) {
    case LinkFault::not_a_link: return page(404, "This link is not whole", paragraph("Part of it may have been lost on its way. Copy all of it from the message.") + instead);
    case LinkFault::altered: return page(403, "This link does not hold", paragraph("It was changed on its way, or another gateway made it.") + instead);
    case LinkFault::other_purpose: return page(403, "This link is for something else", paragraph("It was not made for taking a warning.") + instead);
    case LinkFault::expired: return page(410, "This link has expired", paragraph("A link to take a warning holds for 7 days.") + instead);
  }
  return page(404, "This link is not whole", instead);
}

// "2026-03-01 06:00 UTC"
std::string moment(Time time) {
  const std::string text = rfc3339(time);
  return text.substr(0, 10) + " " + text.substr(11, 5) + " UTC";
}

std::string where_of(const history::WarningRef& ref) {
  return ref.station.site + ", " + ref.station.station + (ref.line ? ", line " + std::to_string(*ref.line) : "");
}

std::string first_line(const std::string& text) { return text.substr(0, text.find('\n')); }
std::string other_lines(const std::string& text) {
  const auto end = text.find('\n');
  return end == std::string::npos ? std::string() : text.substr(end + 1);
}

struct Known {
  std::optional<history::LifeRow> life;          // of the warning as it is now; empty: over
  std::optional<history::LifeChange> taken;      // when its owner took it
};

Or<Known> look(Reader& reader, const LinkClaim& claim) {
  Known known;
  auto lives = reader.lives_of(claim.warning.station);
  if (!lives) return of_trouble(lives.error());
  for (auto& stored : *lives)
    if (history::ref_of(stored.row.last) == claim.warning) known.life = std::move(stored.row);
  const auto acts = reader.latest_life_changes(claim.warning, true, 50);
  if (!acts) return of_trouble(acts.error());
  for (const auto& stored : *acts)
    if (!known.taken && stored.row.event == rules::LifeEvent::acknowledge && stored.row.raised == claim.raised) known.taken = stored.row;
  return known;
}

bool is_another(const Known& known, const LinkClaim& claim) { return known.life && known.life->life.raised != claim.raised; }

std::string about(const Known& known, const LinkClaim& claim) {
  std::string text = paragraph(where_of(claim.warning) + ", since " + moment(claim.raised), true);
  if (known.life && !is_another(known, claim)) text = paragraph(first_line(known.life->last.text)) + text;
  return text;
}

// What there is to say when nothing is left to press.
Answer as_it_is(const Known& known, const LinkClaim& claim) {
  const std::string what = about(known, claim);
  if (is_another(known, claim))
    return page(409, "That warning is over", paragraph("It has been raised again since, on " + moment(known.life->life.raised) + ": there is another message with another link.") + what);
  if (!known.life)
    return page(200, "This warning is over", (known.taken ? paragraph(known.taken->who + " had taken it on " + moment(known.taken->time) + ".") : paragraph("There is nothing left to do.")) + what);
  const rules::Life& life = known.life->life;
  if (life.shelf) return page(200, life.shelf->who + " has shelved it", paragraph("Until " + moment(life.shelf->until) + ".") + what);
  if (!life.out_of_service_by.empty()) return page(200, life.out_of_service_by + " has taken it out of service", what);
  const std::string who = life.owner.empty() ? "Somebody" : life.owner;
  const bool own = life.owner == claim.person;
  return page(200, own ? "You have it" : who + " has it",
              paragraph((own ? "You took it" : who + " took it") + (known.taken ? " on " + moment(known.taken->time) : std::string(" before")) + (own ? ". The others are told." : ". You need not go.")) + what);
}

Answer to_press(const Known& known, const LinkClaim& claim, const Request& request) {
  const auto button = [&](const char* words) {
    return "<form method=\"post\" action=\"" + escaped(request.path.back()) + "\">\n<button type=\"submit\">" + std::string(words) + "</button>\n</form>\n";
  };
  if (!known.life->life.active)
    return page(200, "This warning is over", about(known, claim) + paragraph("It ended by itself, and nobody has said yet that it was seen. You would be: " + claim.person + ".") + button("I have seen it"));
  const std::string text = other_lines(known.life->last.text);
  return page(200, "Take this warning?",
              about(known, claim) + (text.empty() ? "" : paragraph(text)) + paragraph("Nobody has it yet. You would be: " + claim.person + ".") + button("I take it") +
                  paragraph("It tells the others that you see to it, and stops the reminders. It does nothing to the machine.", true));
}

bool is_to_press(const Known& known, const LinkClaim& claim) {
  return known.life && !is_another(known, claim) && !known.life->life.acknowledged && !known.life->life.shelf && known.life->life.out_of_service_by.empty();
}

// The claim, or the page that says why there is none.
tl::expected<LinkClaim, Answer> claim_in(House& house, const Request& request) {
  if (const int wait_s = house.confirm_pace.wait_s(request.address, house.parts.steady()); wait_s > 0) {
    Answer answer = page(429, "Too often", paragraph("This link, or others, were opened too often from where you are. Wait a minute and open it again."));
    answer.headers.emplace_back("Retry-After", std::to_string(wait_s));
    return tl::unexpected(std::move(answer));
  }
  if (!house.parts.link_key) return tl::unexpected(page_of(LinkFault::not_a_link));
  auto claim = messages::claim_of(request.named.at("token"), messages::LinkPurpose::acknowledge, *house.parts.link_key, house.parts.wall());
  if (!claim) {
    events::link_refused(request.address);
    return tl::unexpected(page_of(claim.error()));
  }
  return *claim;
}

}  // namespace

Or<Answer> confirm_show(House& house, const Request& request, Reader* reader) {
  auto claim = claim_in(house, request);
  if (!claim) return std::move(claim.error());
  const auto known = look(*reader, *claim);
  if (!known) return tl::unexpected(known.error());
  return is_to_press(*known, *claim) ? to_press(*known, *claim, request) : as_it_is(*known, *claim);
}

Or<Answer> confirm_press(House& house, const Request& request, Reader* reader) {
  auto claim = claim_in(house, request);
  if (!claim) return std::move(claim.error());
  const auto before = look(*reader, *claim);
  if (!before) return tl::unexpected(before.error());
  if (!is_to_press(*before, *claim)) return as_it_is(*before, *claim);
  history::Act act;
  act.time = house.parts.wall();
  act.warning = claim->warning;
  act.what = rules::LifeEvent::acknowledge;
  act.who = claim->person;
  act.via = "link";
  act.raised = claim->raised;
  act.request = messages::request_of_link(request.named.at("token"));
  const auto outcome = house.parts.history->act(act);
  if (!outcome) return of_trouble(outcome.error());
  if (outcome->answer == rules::ActAnswer::done && !outcome->repeated) {
    events::acted(rules::name_of(act.what), history::key_text(claim->warning), act.who);
    house.fleet.look_again();
    if (house.parts.acted) house.parts.acted();
  }
  const auto after = look(*reader, *claim);
  if (!after) return tl::unexpected(after.error());
  // Pressed before, and unacknowledged again since: its urgency has risen, and there is a new message.
  if (is_to_press(*after, *claim)) return page(409, "This link has been used", paragraph("The warning has become more urgent since. The newer message has another link.") + about(*after, *claim));
  return as_it_is(*after, *claim);
}

}  // namespace driftline::web
